"""How a block is written, and every block of a tape that closes, found by array operations."""

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Frames

Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]

_BYTE: Final = 0x100


@dataclass(frozen=True, slots=True)
class Layout:
    """A block: `mark`, a count, an address (two bytes, low first), data, a checksum.

    `head` is how many frames stand before the data. The count has `count_bytes` from
    `count_at` on, low first; a count of 0 stands for `zero`. A block has as many frames as its
    count says and `beyond` more. The frames from `summed_from` on, without the checksum, are
    summed modulo 256; with the checksum times `closing` (1 or -1) the sum is 0. A count of
    `ends` ends the program, and then the address is where it starts.
    """

    mark: bytes
    head: int
    count_at: int
    count_bytes: int
    address_at: int
    beyond: int
    least: int
    summed_from: int
    closing: int
    zero: int = 0
    ends: int | None = None

    def is_head(self, frames: bytes, at: int) -> bool:
        """Whether the head of a block stands at `at`, as far as its mark and count tell."""
        return frames.startswith(self.mark, at) and (self.size(frames, at) or 0) >= self.shortest

    @property
    def shortest(self) -> int:
        """The fewest frames that a block has."""
        return self.least + self.beyond

    def size(self, frames: bytes, at: int) -> int | None:
        """How many frames the block at `at` has by its count; None where the tape ends first."""
        if at + self.head > len(frames):
            return None
        return self.size_of(frames[at : at + self.head])

    def size_of(self, head: bytes) -> int:
        """How many frames a block with that head has."""
        count = int.from_bytes(head[self.count_at : self.count_at + self.count_bytes], "little")
        return (count or self.zero) + self.beyond

    def address(self, frames: bytes, at: int) -> int:
        """The address in the head of the block at `at`."""
        return int.from_bytes(frames[at + self.address_at : at + self.address_at + 2], "little")

    def residue(self, block: bytes) -> int:
        """What the sum of `block`, checksum included, is beyond 0, modulo 256."""
        return (sum(block[self.summed_from : -1]) + self.closing * block[-1]) % _BYTE


@dataclass(frozen=True, slots=True)
class Blocks:
    """Blocks that close, in the order of the tape; they may overlap. `stops` are exclusive."""

    starts: Integers
    stops: Integers
    ending: Booleans


class Tape:
    """The frames of a view, with what both recognising and walking ask of them.

    Frames from `stop` on are leader; before it, the last one is not blank.
    """

    def __init__(self, array: Frames, layout: Layout, stop: int) -> None:
        self.array = array
        self.frames = array.tobytes()
        self.layout = layout
        self.stop = stop

    @cached_property
    def punched(self) -> NDArray[np.intp]:
        """The frames that are not blank."""
        return np.flatnonzero(self.array)

    def over_blanks(self, at: Integers) -> Integers:
        """For each of `at`, the first frame from there on that is not blank, or the end."""
        there = at.copy()
        inside = at < self.array.size
        blank = ~inside
        blank[inside] = self.array[at[inside]] == 0
        if blank.any():
            punched = np.append(self.punched, self.array.size)
            there[blank] = punched[np.searchsorted(self.punched, at[blank])]
        return there

    def next_punched(self, at: int) -> int:
        """The first frame from `at` on that is not blank, or the end."""
        if at < len(self.frames) and self.frames[at]:
            return at
        found = int(np.searchsorted(self.punched, at))
        return int(self.punched[found]) if found < self.punched.size else len(self.frames)

    @cached_property
    def marks(self) -> Integers:
        """Where the mark of a block stands, with room for its head behind it."""
        there = self.array[: max(self.array.size - self.layout.head, 0)] == self.layout.mark[0]
        for at, byte in enumerate(self.layout.mark[1:], 1):
            there &= self.array[at : at + there.size] == byte
        return np.flatnonzero(there).astype(np.int64, copy=False)

    @cached_property
    def blocks(self) -> Blocks:
        """Every block that closes, wherever it stands."""
        layout, array = self.layout, self.array
        starts = self.marks
        counts = array[starts + layout.count_at].astype(np.int64)
        if layout.count_bytes == 2:
            counts |= array[starts + layout.count_at + 1].astype(np.int64) << 8
        if layout.zero:
            counts[counts == 0] = layout.zero
        stops = starts + counts + layout.beyond
        fits = (counts >= layout.least) & (stops <= array.size)
        starts, stops, counts = starts[fits], stops[fits], counts[fits]
        sums = np.append(np.uint8(0), np.cumsum(array, dtype=np.uint8))
        covered = sums[stops - 1] - sums[starts + layout.summed_from]
        checks = array[stops - 1]
        closes = covered == (checks if layout.closing < 0 else -checks)
        ending = counts[closes] == layout.ends
        return Blocks(starts[closes], stops[closes], ending)
