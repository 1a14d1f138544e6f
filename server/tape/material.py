"""What a decoded tape carries, apart from how it is punched, so that it can be written anew."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild

ENDS: Final = 2
"""Frames of leader, and of trailer, on what a format writes anew."""


class Kind(StrEnum):
    """What there is to be carried."""

    MEMORY = "bytes at addresses"
    WORDS = "words of twelve bits at addresses"
    LINES = "lines of text"
    BASIC = "numbered lines of BASIC"
    BLOCKS = "blocks of a numerical control program"
    FRAMES = "frames without addresses"


class Pattern(StrEnum):
    """What is punched where there is no content."""

    USUAL = "usual"
    """The one that loaders of the format pass over."""
    BLANK = "blank"
    """Feed holes alone."""
    RUB_OUT = "rub-out"
    """Every hole that the code rubs out with."""
    CHANNEL_8 = "channel-8"
    """Channel 8 alone: the leader of the 12-bit machine (200 octal)."""


@dataclass(frozen=True, slots=True)
class Material:
    """Content of one `kind`; the fields of other kinds are empty.

    `memory` gives bytes by the address of the first of each run, which do not overlap, two bytes
    a word for words. `lines` hold text without line ends; `numbered` a BASIC program; `data` bare
    frames. `name` is that of a BASIC program, "" where it has none.
    """

    kind: Kind
    memory: Mapping[int, bytes] = field(default_factory=dict)
    entry_address: int | None = None
    lines: tuple[str, ...] = ()
    numbered: tuple[tuple[int, str], ...] = ()
    data: bytes = b""
    name: str = ""

    @property
    def typed(self) -> tuple[str, ...]:
        """The lines as they are typed, those of BASIC with their numbers."""
        return self.lines or tuple(f"{number} {text}" for number, text in self.numbered)

    @property
    def only_run(self) -> bytes:
        """The bytes, where one run is all there is.

        Raises:
            CannotBuild: there is more than one run, so that gaps would be lost.
        """
        if self.kind is Kind.FRAMES:
            return self.data
        starts = sorted(self.memory)
        if len(starts) != 1:
            places = ", ".join(f"{start:04X}" for start in starts[:8])
            raise CannotBuild(
                f"the program is loaded in {len(starts)} runs, from {places}; without addresses "
                "the gaps between them are lost",
                mend="choose a format whose records say where they load",
            )
        return self.memory[starts[0]]

    def pieces(self, length: int) -> "list[Material]":
        """The content cut where records, words or lines end; a record has `length` bytes."""
        bare = replace(self, memory={}, lines=(), numbered=(), data=b"", entry_address=None)
        if self.memory:
            return [
                replace(bare, memory={start + at // self.cell: run[at : at + length]})
                for start, run in sorted(self.memory.items())
                for at in range(0, len(run), length)
            ]
        return [
            *(replace(bare, lines=(line,)) for line in self.lines),
            *(replace(bare, numbered=(line,)) for line in self.numbered),
            *(
                replace(bare, data=self.data[at : at + length])
                for at in range(0, len(self.data), length)
            ),
        ]

    @property
    def cell(self) -> int:
        """Bytes that one address names."""
        return 2 if self.kind is Kind.WORDS else 1


def joined(pieces: Sequence[Material], entry_address: int | None = None) -> Material:
    """`pieces` of one content, one at least, as one again; runs of memory that touch joined."""
    return replace(
        pieces[0],
        memory=_touching((run for piece in pieces for run in piece.memory.items()), pieces[0].cell),
        entry_address=entry_address,
        lines=tuple(line for piece in pieces for line in piece.lines),
        numbered=tuple(line for piece in pieces for line in piece.numbered),
        data=b"".join(piece.data for piece in pieces),
    )


def _touching(runs: Iterable[tuple[int, bytes]], cell: int) -> dict[int, bytes]:
    whole: dict[int, bytearray] = {}
    start = stop = -1
    for address, run in sorted(runs):
        if address != stop:
            start = address
            whole[start] = bytearray()
        whole[start] += run
        stop = address + len(run) // cell
    return {address: bytes(run) for address, run in whole.items()}


@dataclass(frozen=True, slots=True)
class Writing:
    """How content is written: what does not belong to the content itself.

    `record_length` is the most bytes in a record or block, `start_address` where a crunched
    program stands in memory; None leaves either to the format.
    """

    code: str | None = None
    parity: Parity = Parity.EVEN
    record_length: int | None = None
    dialect: str | None = None
    start_address: int | None = None
