"""Frames that came damaged over the line, picked out of the marks that the operating system sets.

Source: POSIX.1, 'General Terminal Interface', input modes INPCK and PARMRK (from memory): a
character with a parity or framing error X arrives as FF 00 X, a break as FF 00 00, and a
character FF that came in order as FF FF. So a break cannot be told from a damaged character 00,
nor an error of parity from one of framing.
"""

from enum import StrEnum
from typing import Final, NamedTuple

_MARK: Final = 0xFF


class FaultKind(StrEnum):
    """What was wrong with a frame on the line."""

    DAMAGED = "parity or framing error"
    BREAK = "break, or a damaged frame of no holes"


class Fault(NamedTuple):
    """A frame that did not come in order; it is kept all the same, as it came."""

    frame: int
    kind: FaultKind


class Unmarker:
    """Takes marks out of what arrives, piece by piece; counts frames from 0."""

    def __init__(self) -> None:
        self._next = 0
        self._begun = b""

    def take(self, data: bytes) -> tuple[bytes, tuple[Fault, ...]]:
        """The frames in `data`, and which of them were marked; half a mark waits for the rest."""
        data = self._begun + data
        frames, faults, at = bytearray(), list[Fault](), 0
        while (mark := data.find(_MARK, at)) >= 0:
            frames += data[at:mark]
            sequence = data[mark : mark + 3]
            at = mark + _length(sequence)
            if at > len(data):
                at = mark
                break
            if at == mark + 3:
                kind = FaultKind.DAMAGED if sequence[2] else FaultKind.BREAK
                faults.append(Fault(self._next + len(frames), kind))
                frames.append(sequence[2])
            else:
                frames.append(_MARK)
        else:
            frames += data[at:]
            at = len(data)
        self._begun = data[at:]
        self._next += len(frames)
        return bytes(frames), tuple(faults)


def _length(sequence: bytes) -> int:
    """How many bytes the mark that `sequence` begins with should have.

    A mark that is neither of the two is an FF of an operating system that sets no marks.
    """
    if len(sequence) == 1:
        return 2
    if sequence[1] == _MARK:
        return 2
    return 3 if sequence[1] == 0 else 1
