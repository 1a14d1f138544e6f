"""The alphabets as columns of holes, and the broader and taller forms of them."""

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import groupby
from types import MappingProxyType
from typing import Final, NamedTuple

from server.tape.lettering.drawings import DRAWINGS

NARROWEST_TELLING: Final = 3
"""Columns."""

Columns = tuple[int, ...]
"""Left to right, a byte each; the top row is the highest bit of the letter's height."""


class Glyph(NamedTuple):
    """One drawing of a character: its columns, and where in its cell the first of them stands."""

    character: str
    columns: Columns
    bearing: int

    @property
    def telling(self) -> bool:
        """Whether it is a letter or digit, and no mere stroke: programs are full of such frames."""
        return self.character.isalnum() and len(self.columns) >= NARROWEST_TELLING


class Alphabet(NamedTuple):
    """Letters of one size: cells of `width` columns, `height` holes high.

    `glyphs` may hold several drawings of one character, the usual one first.
    """

    width: int
    height: int
    glyphs: tuple[Glyph, ...]


_BROADER: Final[Mapping[int, Mapping[int, tuple[Sequence[int], ...]]]] = MappingProxyType(
    {
        5: {
            5: (range(5),),
            6: ((0, 1, 2, 2, 3, 4),),
            7: ((0, 1, 1, 2, 3, 3, 4), (0, 1, 2, 2, 2, 3, 4)),
            8: ((0, 1, 1, 2, 2, 3, 3, 4), (0, 1, 2, 2, 2, 2, 3, 4)),
        },
        7: {7: (range(7),), 8: ((0, 1, 2, 3, 3, 4, 5, 6),)},
    }
)
"""Which columns of a drawing, of that many, make a letter so many columns wide."""

_TALLER: Final[Mapping[int, Mapping[int, Sequence[int]]]] = MappingProxyType(
    {
        5: {5: range(5), 6: (0, 1, 2, 2, 3, 4)},
        7: {7: range(7), 8: (0, 1, 2, 3, 3, 4, 5, 6)},
        8: {8: range(8)},
    }
)
"""Which rows of a drawing, of that many, make a letter so many holes high."""


@cache
def alphabet(name: str) -> Alphabet:
    """The alphabet of that name as it is drawn.

    Raises:
        KeyError: there is no such alphabet; `server.tape.lettering.drawings` has them all.
    """
    drawn = _drawn(name)
    height, width = len(drawn[0][1]), len(drawn[0][1][0])
    return _alphabet(drawn, range(height), range(width))


@cache
def sizes() -> tuple[Alphabet, ...]:
    """Every alphabet in every size in which it is read, as drawn or stretched."""
    return tuple(
        _alphabet(drawn, rows, columns)
        for drawn in map(_drawn, DRAWINGS)
        for rows in _TALLER[len(drawn[0][1])].values()
        for ways in _BROADER[len(drawn[0][1][0])].values()
        for columns in ways
    )


def _drawn(name: str) -> list[tuple[str, tuple[str, ...]]]:
    """Each character of the alphabet with its rows, in the order in which they are drawn."""
    lines = DRAWINGS[name].splitlines()
    bands = [list(band) for drawn, band in groupby(lines, key=bool) if drawn]
    return [each for band in bands for each in _of_band(*band)]


def _of_band(heading: str, *rows: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    for at, character in enumerate(heading):
        if character != " ":
            yield character, tuple(row[at:].split(" ", 1)[0] for row in rows)


def _alphabet(
    drawn: Sequence[tuple[str, tuple[str, ...]]], rows: Sequence[int], columns: Sequence[int]
) -> Alphabet:
    glyphs = (_glyph(character, drawing, rows, columns) for character, drawing in drawn)
    return Alphabet(len(columns), len(rows), tuple(dict.fromkeys(glyphs)))


def _glyph(
    character: str, drawing: Sequence[str], rows: Sequence[int], columns: Sequence[int]
) -> Glyph:
    cell = [
        sum((drawing[row][column] == "#") << bit for bit, row in enumerate(reversed(rows)))
        for column in columns
    ]
    inked = [at for at, column in enumerate(cell) if column]
    return Glyph(character, tuple(cell[inked[0] : inked[-1] + 1]), inked[0])
