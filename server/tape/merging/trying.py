"""Trying what may stand in a stretch of a tape, and asking its checksums what they say of it."""

from collections.abc import Iterator
from heapq import heappop, heappush
from typing import Final, NamedTuple

import numpy as np

from server.tape.image import Image
from server.tape.merging.columns import MISSING
from server.tape.merging.judging import Verdicts
from server.tape.merging.merged import SettledBy
from server.tape.self_checking import Checked, Checker
from server.tape.view import View

FAINTEST: Final = -30.0
"""The logarithm of a probability below which a candidate is not tried."""

MOST_CANDIDATES: Final = 4


class Score(NamedTuple):
    """Of a stretch: how many frames fail, and how many stand in sound records."""

    failing: int
    sound: int

    def betters(self, other: "Score") -> bool:
        """Whether less fails and more is sound."""
        return self.failing < other.failing and self.sound > other.sound


class Change(NamedTuple):
    """A row given another candidate than its likeliest, which is so much less likely."""

    cost: float
    row: int
    value: int


class Stretch(NamedTuple):
    """Columns `start` up to `stop` that are checked together; `rows` of the ballot to choose in."""

    start: int
    stop: int
    rows: range


class Trial:
    """`verdicts`, and what `checker` says of the frames that stand there, or might.

    `left` counts the frames that may still be checked: what has been bounds the work.
    """

    def __init__(self, verdicts: Verdicts, checker: Checker, levels: int) -> None:
        self.verdicts = verdicts
        self.left = 0
        self._checker = checker
        self._levels = levels

    def checked(self, frames: bytes) -> Checked:
        """What the checksums say of `frames`."""
        self.left -= len(frames)
        return self._checker(View(Image(frames, self._levels))) if frames else Checked((), ())

    def score(self, frames: bytes) -> Score:
        """How many of `frames` fail, and how many are sound."""
        checked = self.checked(frames)
        return Score(*(sum(span.frames for span in spans) for spans in reversed(checked)))

    def rows(self, start: int, stop: int) -> range:
        """The rows of the ballot for the columns `start` up to `stop`."""
        return range(*np.searchsorted(self.verdicts.ballot.columns, (start, stop)).tolist())

    def open_rows(self, stretch: Stretch) -> list[int]:
        """The rows of `stretch` that no eye settled."""
        by = self.verdicts.settled_by
        return [row for row in stretch.rows if by[row] is not SettledBy.EYE]

    def changes(self, rows: list[int]) -> list[Change]:
        """Every single change worth trying, the likeliest first."""
        ballot = self.verdicts.ballot
        found = []
        for row in rows:
            logs = ballot.logs[row]
            order = np.argsort(-logs, kind="stable")[:MOST_CANDIDATES]
            best = float(logs[order[0]])
            found += [
                Change(best - float(logs[place]), row, int(ballot.candidates[row, place]))
                for place in order[1:]
                if logs[place] > FAINTEST
            ]
        return sorted(found)

    def with_changes(self, stretch: Stretch, rows: list[int], changes: tuple[Change, ...]) -> bytes:
        """The frames of `stretch`, with the likeliest candidates of `rows` but for `changes`."""
        part = self.verdicts.chosen[stretch.start : stretch.stop].copy()
        ballot = self.verdicts.ballot
        columns = ballot.columns[rows] - stretch.start
        inside = (columns >= 0) & (columns < part.size)
        part[columns[inside]] = ballot.chosen[rows][inside]
        for each in changes:
            column = int(ballot.columns[each.row]) - stretch.start
            if 0 <= column < part.size:
                part[column] = each.value
        return part[part > MISSING].astype(np.uint8).tobytes()


def weight_of(changes: tuple[Change, ...]) -> float:
    """How likely a combination is, against that of the likeliest candidates."""
    return float(np.exp(-sum(each.cost for each in changes)))


def likeliest_first(changes: list[Change]) -> Iterator[tuple[Change, ...]]:
    """Combinations of `changes`, which are in order of cost, in order of their cost together."""
    yield ()
    heap: list[tuple[float, tuple[int, ...]]] = []
    if changes:
        heappush(heap, (changes[0].cost, (0,)))
    while heap:
        cost, chosen = heappop(heap)
        if len({changes[at].row for at in chosen}) == len(chosen):
            yield tuple(changes[at] for at in chosen)
        following = chosen[-1] + 1
        if following < len(changes):
            more = changes[following].cost
            heappush(heap, (cost + more, (*chosen, following)))
            heappush(heap, (cost + more - changes[chosen[-1]].cost, (*chosen[:-1], following)))
