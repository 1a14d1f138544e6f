"""An image: the frames of one tape, as one pass of a reader gave them."""

import hashlib
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, Self, TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.tape.errors import BadImage

Frames: TypeAlias = NDArray[np.uint8]

FRAME_PITCH_MM = 2.54
"""Distance from one feed hole to the next (ECMA-10; ISO 1154: 2.54 mm, ten to the inch)."""

LEVELS = range(5, 9)
"""Tapes of 5, 6, 7 and 8 code holes across were made."""

_SHORTEST_PATTERN = 8
"""A punch's leader pattern is longer than any run of one byte that programs begin with."""


class Orientation(StrEnum):
    """How a tape lay in the reader, against how it was punched."""

    AS_READ = "as-read"
    REVERSED = "reversed"
    MIRRORED = "mirrored"
    REVERSED_MIRRORED = "reversed-mirrored"

    @property
    def runs_backwards(self) -> bool:
        """Whether the last frame punched is the first in the image."""
        return self in (Orientation.REVERSED, Orientation.REVERSED_MIRRORED)

    @property
    def swaps_channels(self) -> bool:
        """Whether channel 1 is found where the highest channel belongs."""
        return self in (Orientation.MIRRORED, Orientation.REVERSED_MIRRORED)


class Span(NamedTuple):
    """Frames `start` up to, not including, `stop`."""

    start: int
    stop: int

    @property
    def frames(self) -> int:
        """How many frames the span holds."""
        return self.stop - self.start


def _mirror_table(levels: int) -> bytes:
    """The 256 bytes with channels 1 to `levels` in the opposite order."""
    return bytes(
        sum(1 << (levels - 1 - channel) for channel in range(levels) if byte >> channel & 1)
        for byte in range(256)
    )


_MIRRORS = {levels: _mirror_table(levels) for levels in LEVELS}


@dataclass(frozen=True, slots=True)
class Image:
    """The frames of one tape: a byte a frame, channel 1 in bit 0, a hole is a 1.

    Raises:
        BadImage: there are no frames, `levels` is not 5 to 8, or a frame has a hole in a
            channel that such a tape does not have.
    """

    frames: bytes
    levels: int = 8

    def __post_init__(self) -> None:
        if not self.frames:
            raise BadImage("the image holds no frames", mend="read the tape again")
        if self.levels not in LEVELS:
            raise BadImage(f"{self.levels} is not a number of levels", mend="give 5, 6, 7 or 8")
        if self.levels < 8:
            self._refuse_holes_outside()

    def _refuse_holes_outside(self) -> None:
        outside = np.flatnonzero(self.array >> self.levels)
        if outside.size:
            frame = int(outside[0])
            raise BadImage(
                f"a {self.levels}-level tape has no frame {self.frames[frame]:02X}",
                frame=frame,
                mend=f"give the levels the tape has, at least {self.frames[frame].bit_length()}",
            )

    @classmethod
    def of(cls, data: bytes, levels: int | None = None) -> Self:
        """An image of `data`, with the fewest levels that hold its holes where none are given.

        A tape without a hole in channel 8 is still taken for an 8-level one, unless channels 6
        to 8 are all empty: teleprinters that leave the parity channel unpunched are common,
        seven-level tapes are not (common practice, no source).
        """
        if levels is None:
            highest = max(data, default=0).bit_length()
            levels = 8 if highest > 6 or highest == 0 else max(highest, 5)
        return cls(bytes(data), levels)

    @property
    def array(self) -> Frames:
        """The frames as a read-only array of bytes."""
        return np.frombuffer(self.frames, dtype=np.uint8)

    @property
    def sha256(self) -> str:
        """The image's name: the SHA-256 of its frames, in hexadecimal."""
        return hashlib.sha256(self.frames).hexdigest()

    def __len__(self) -> int:
        return len(self.frames)

    def turned(self, orientation: Orientation) -> Self:
        """The image as it would have been read, had the tape lain rightly in the reader."""
        frames = self.frames
        if orientation.swaps_channels:
            frames = frames.translate(_MIRRORS[self.levels])
        if orientation.runs_backwards:
            frames = frames[::-1]
        return self if frames is self.frames else type(self)(frames, self.levels)

    def span_as_read(self, span: Span, orientation: Orientation) -> Span:
        """Where in this image the frames lie that `turned(orientation)` has in `span`."""
        if not orientation.runs_backwards:
            return span
        return Span(len(self) - span.stop, len(self) - span.start)

    def data_span(self) -> Span:
        """The frames between leader and trailer; empty, at the end, on a blank tape.

        Leader and trailer are blank frames, rub-outs, and a run of one frame repeated at
        least eight times, in any order.
        """
        start = _run_in(self.array, blank_or_rubbed_out(self.levels))
        stop = len(self) - _run_in(self.array[start:][::-1], blank_or_rubbed_out(self.levels))
        return Span(start, stop)


def blank_or_rubbed_out(levels: int) -> tuple[int, int]:
    """The two frames that carry nothing: no code hole, and all code holes."""
    return 0, (1 << levels) - 1


def _run_in(array: Frames, idle: tuple[int, ...]) -> int:
    """How many frames at the start of `array` are idle or a long run of one frame."""
    at = 0
    while at < len(array):
        same = run_length(array[at:])
        if array[at] not in idle and same < _SHORTEST_PATTERN:
            break
        at += same
    return at


def run_length(array: Frames) -> int:
    """How many frames at the start of `array`, which holds one at least, are the same."""
    # Runs are short or the whole tape, so look a little way before looking everywhere.
    for window in (array[:256], array):
        others = np.flatnonzero(window != array[0])
        if others.size:
            return int(others[0])
    return len(array)
