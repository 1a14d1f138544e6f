"""Where columns look like letters: the drawings met, with the holes that are wrong in each."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from math import exp, log
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Frames
from server.tape.lettering.alphabets import NARROWEST_TELLING, Glyph
from server.tape.lettering.templates import BROADEST, MASKS, Book, Packed, Templates, pack

_WRONG_HOLE: Final = 0.01
"""How often a hole of a letter is missing, or stands where none belongs (a judgement)."""

COST_OF_WRONG: Final = log((1 - _WRONG_HOLE) / _WRONG_HOLE)
"""In nats, as all costs: what one wrong hole tells against a drawing."""

_BROAD: Final = 7
"""Letters so many columns broad bear two wrong holes, others one."""

_FEWEST_TELLING: Final = 5
"""A drawing of fewer holes bears none: one more or less makes another sign."""

_RIVALRY: Final = 2
"""Wrong holes beyond those that a letter bears at which a drawing still casts doubt on others."""


class Hit(NamedTuple):
    """A drawing met: how many holes are wrong, and how sure (0 to 1) the character is."""

    glyph: Glyph
    wrong: int
    certainty: float

    @property
    def width(self) -> int:
        """Columns."""
        return len(self.glyph.columns)


Hits = Mapping[int, list[Hit]]
"""By the column at which they start."""


def promising(columns: Frames, letters: Book, most: int) -> list[int]:
    """The groups of which letters or digits are met in `columns`, those of most letters first."""
    counts = np.zeros(len(letters.forms), np.intp)
    for width in range(NARROWEST_TELLING, BROADEST + 1):
        table = letters.by_width[width]
        table = _only(table, table.telling)
        _, pieces = _pieces(columns, width)
        _, which = np.nonzero(_wrong_holes(pieces, table) <= _borne(width))
        counts += np.bincount(table.groups[which], minlength=len(counts))
    order = np.argsort(-counts, kind="stable")[:most]
    return [int(group) for group in order if counts[group]]


def meet(
    columns: Frames, letters: Book, groups: Collection[int]
) -> dict[int, dict[int, list[Hit]]]:
    """By group, the letters met in `columns`, of the given groups.

    A letter stands between columns that are blank, or hold one wrong hole.
    """
    found: dict[int, dict[int, list[Hit]]] = {group: defaultdict(list) for group in groups}
    for width, table in letters.by_width.items():
        chosen = _only(table, np.isin(table.groups, list(groups)))
        for (group, start), near in _near(columns, width, chosen).items():
            found[group][start] += _weighed(near, letters, _borne(width))
    return found


def _borne(width: int) -> int:
    return 2 if width >= _BROAD else 1


def _only(table: Templates, chosen: NDArray[np.bool_]) -> Templates:
    return Templates(
        table.patterns[chosen], table.glyphs[chosen], table.groups[chosen], table.telling[chosen]
    )


def _pieces(columns: Frames, width: int) -> tuple[NDArray[np.intp], Packed]:
    """Where so many columns stand by themselves, and what they hold."""
    loose = np.bitwise_count(columns) <= 1
    starts = np.flatnonzero(loose[: -width - 1] & loose[width + 1 :]) + 1
    pieces = pack(columns)[starts] & MASKS[width]
    return starts[pieces > 0], pieces[pieces > 0]


def _wrong_holes(pieces: Packed, table: Templates) -> NDArray[np.uint8]:
    wrong: NDArray[np.uint8] = np.bitwise_count(pieces[:, None] ^ table.patterns[None, :])
    return wrong


def _near(
    columns: Frames, width: int, table: Templates
) -> dict[tuple[int, int], list[tuple[int, int]]]:
    """By group and start, the glyphs that are near enough to matter, and their wrong holes."""
    starts, pieces = _pieces(columns, width)
    wrong = _wrong_holes(pieces, table)
    few = np.bitwise_count(table.patterns) < _FEWEST_TELLING
    at, which = np.nonzero(wrong <= np.where(few, 0, _borne(width) + _RIVALRY))
    near: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
    met = (table.groups[which], starts[at], table.glyphs[which], wrong[at, which])
    for group, start, glyph, holes in zip(*(each.tolist() for each in met), strict=True):
        near[group, start].append((glyph, holes))
    return near


def _weighed(near: list[tuple[int, int]], letters: Book, borne: int) -> Iterator[Hit]:
    """The drawings with few enough wrong holes, each with its character's share of likelihood."""
    least: dict[str, int] = {}
    for glyph, wrong in near:
        character = letters.glyphs[glyph].character
        least[character] = min(wrong, least.get(character, wrong))
    likelihood = {each: exp(-COST_OF_WRONG * wrong) for each, wrong in least.items()}
    whole = sum(likelihood.values())
    for glyph, wrong in near:
        if wrong <= borne:
            drawn = letters.glyphs[glyph]
            yield Hit(drawn, wrong, likelihood[drawn.character] / whole)
