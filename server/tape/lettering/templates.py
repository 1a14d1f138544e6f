"""Every letter in every size, place and form, packed so that many are compared at once."""

from collections.abc import Iterator
from functools import cache
from itertools import product
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Frames, Image, Orientation
from server.tape.lettering.alphabets import Alphabet, Glyph, sizes

Packed: TypeAlias = NDArray[np.uint64]
"""Up to eight columns a letter: the first in the lowest byte, channel 1 in the lowest bit."""

BROADEST: Final = 8
"""Columns of the broadest letter; eight of eight channels are the 64 bits of one number."""

FORMS: Final = tuple(Orientation)
"""How letters may lie: as punched upright, and turned as the tape may be turned."""

MASKS: Final[Packed] = np.array(
    [(1 << 8 * width) - 1 for width in range(BROADEST + 1)], dtype=np.uint64
)
"""The bits of so many columns."""


class Templates(NamedTuple):
    """Letters of one width: entry by entry its holes, number, group, and whether it is telling.

    Letters of one group are of one size, at one height on the tape, and in one form; a text is
    punched in one group.
    """

    patterns: Packed
    glyphs: NDArray[np.intp]
    groups: NDArray[np.intp]
    telling: NDArray[np.bool_]


class Book(NamedTuple):
    """The letters that fit on a tape, by width, and what the numbers in the tables mean."""

    by_width: dict[int, Templates]
    glyphs: tuple[Glyph, ...]
    forms: tuple[Orientation, ...]
    cells: tuple[int, ...]
    heights: tuple[int, ...]


def pack(columns: Frames) -> Packed:
    """From each of `columns` on, the next eight columns in one number; blank beyond the end."""
    padded = np.concatenate([columns, np.zeros(BROADEST - 1, np.uint8)])
    eights = np.lib.stride_tricks.sliding_window_view(padded, BROADEST)
    return np.ascontiguousarray(eights).view("<u8")[:, 0]


@cache
def book(levels: int) -> Book:
    """All letters that fit on a tape of so many levels, upright and in the other three forms."""
    entries: dict[int, list[tuple[bytes, int, int]]] = {
        width: [] for width in range(1, BROADEST + 1)
    }
    glyphs: list[Glyph] = []
    groups: list[tuple[Orientation, int, int]] = []
    for size in sizes():
        first = len(glyphs)
        glyphs += size.glyphs
        for form, offset in product(FORMS, range(levels - size.height + 1)):
            for number, columns in enumerate(_punched(size, levels, form, offset), first):
                entries[len(columns)].append((columns, number, len(groups)))
            groups.append((form, size.width, size.height))
    return Book(
        {width: _table(held, glyphs) for width, held in entries.items()},
        tuple(glyphs),
        tuple(form for form, _, _ in groups),
        tuple(width for _, width, _ in groups),
        tuple(height for _, _, height in groups),
    )


def _punched(size: Alphabet, levels: int, form: Orientation, offset: int) -> Iterator[bytes]:
    """The columns of each letter of `size`, so many channels up, on a tape turned to `form`."""
    every = bytes(column << offset for glyph in size.glyphs for column in glyph.columns)
    upright = Image(every, levels)
    frames = upright.turned(Orientation.MIRRORED).frames if form.swaps_channels else every
    start = 0
    for glyph in size.glyphs:
        columns = frames[start : start + len(glyph.columns)]
        start += len(columns)
        yield columns[::-1] if form.runs_backwards else columns


def _table(entries: list[tuple[bytes, int, int]], letters: list[Glyph]) -> Templates:
    patterns, glyphs, groups = zip(*entries, strict=True)
    return Templates(
        np.array([int.from_bytes(columns, "little") for columns in patterns], dtype=np.uint64),
        np.array(glyphs, dtype=np.intp),
        np.array(groups, dtype=np.intp),
        np.array([letters[glyph].telling for glyph in glyphs], dtype=np.bool_),
    )
