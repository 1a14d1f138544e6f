"""The likeliest way to cut columns into letters and the blank columns between them."""

from collections.abc import Iterator
from math import log
from typing import Final, NamedTuple

import numpy as np

from server.tape.image import Frames
from server.tape.lettering.meeting import COST_OF_WRONG, Hit, Hits

_COST_OF_LETTER: Final = log(60)
"""In nats: one of some sixty characters."""


class Letter(NamedTuple):
    """A letter, and the columns from `start` up to, not including, `stop` that it takes."""

    start: int
    stop: int
    hit: Hit


class Parse(NamedTuple):
    """Columns as letters, in their order; `wrong` holes in them and between them.

    `cost` in nats: the least is the likeliest.
    """

    cost: float
    wrong: int
    letters: tuple[Letter, ...]


class _Step(NamedTuple):
    """The cheapest way to a column: its cost, the wrong holes, the last letter, the step before."""

    cost: float
    wrong: int
    letter: Letter | None = None
    before: "_Step | None" = None


def likeliest(columns: Frames, hits: Hits) -> Parse | None:
    """`columns`, the first and last of them blank, as letters of one group; None if they aren't.

    Between two letters stands a column at least, blank or with one wrong hole.
    """
    holes = np.bitwise_count(columns).tolist()
    steps: list[_Step | None] = [_Step(0, 0)] + [None] * len(holes)
    for at in range(len(holes)):
        # Steps lead further along only, so this one is final.
        step = steps[at]
        if step is None:
            continue
        for stop, further in _onward(step, at, holes, hits):
            held = steps[stop]
            if held is None or further.cost < held.cost:
                steps[stop] = further
    return _parse(steps[-1])


def _onward(step: _Step, at: int, holes: list[int], hits: Hits) -> Iterator[tuple[int, _Step]]:
    """From `step`, behind a blank column, on behind the next one: at once, or past a letter."""
    if holes[at] <= 1:
        wrong = step.wrong + holes[at]
        yield at + 1, _Step(_cost(step, holes[at]), wrong, None, step)
    for hit in hits.get(at, ()):
        stop = at + hit.width
        wrong = hit.wrong + holes[stop]
        cost = _cost(step, wrong) + _COST_OF_LETTER
        yield stop + 1, _Step(cost, step.wrong + wrong, Letter(at, stop, hit), step)


def _cost(step: _Step, wrong: int) -> float:
    return step.cost + COST_OF_WRONG * wrong


def _parse(step: _Step | None) -> Parse | None:
    if step is None:
        return None
    letters = []
    way: _Step | None = step
    while way is not None:
        if way.letter:
            letters.append(way.letter)
        way = way.before
    return Parse(step.cost, step.wrong, tuple(reversed(letters)))
