"""Where words end: blank columns between letters, and those between words."""

from collections.abc import Sequence
from itertools import pairwise
from statistics import median
from typing import Final

from server.tape.lettering.parsing import Letter

_WIDEST_BETWEEN_LETTERS: Final = 3
"""Blank columns; words are three to eight apart (common practice, no source)."""

_LEAST_EVEN: Final = 4
"""Letters by which it shows that all cells of a text are equally far apart."""


def text_of(letters: Sequence[Letter], cell: int) -> str:
    """The characters of `letters`, in reading order, with a space where a word ends.

    `cell` is the width of a letter that fills it, in columns.
    """
    gaps = [after.start - before.stop for before, after in pairwise(letters)]
    spaces = _in_even_cells(letters, cell) or _by_gaps(gaps)
    words = zip(letters, [*spaces, 0], strict=True)
    return "".join(letter.hit.glyph.character + " " * count for letter, count in words)


def _in_even_cells(letters: Sequence[Letter], cell: int) -> list[int]:
    """Spaces behind each letter where all letters stand in cells of one pitch; else none."""
    starts = [letter.start - letter.hit.glyph.bearing for letter in letters]
    steps = [after - before for before, after in pairwise(starts)]
    if len(letters) < _LEAST_EVEN:
        return []
    for pitch in range(cell + 1, cell + 1 + _WIDEST_BETWEEN_LETTERS):
        if all(step >= pitch and step % pitch == 0 for step in steps):
            return [min(1, step // pitch - 1) for step in steps]
    return []


def _by_gaps(gaps: Sequence[int]) -> list[int]:
    """A space where a gap is wider than letters of this text stand apart."""
    usual = median([gap for gap in gaps if gap <= _WIDEST_BETWEEN_LETTERS] or [1])
    return [int(gap > _WIDEST_BETWEEN_LETTERS + 1 or gap >= usual + 2) for gap in gaps]
