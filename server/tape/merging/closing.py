"""The tape's own checksums as judge: which candidates close the records that disputes lie in.

Where a record fails, combinations of the candidates in it are tried, the likeliest first, until
one closes it; what others close it as well, and what was not tried, is held against it. Where a
record closes, each disputed frame in it is settled if no other candidate closes it too.
"""

from collections.abc import Iterator
from heapq import heappop, heappush
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Image, Span
from server.tape.merging.columns import MISSING
from server.tape.merging.judging import Verdicts
from server.tape.merging.merged import SettledBy
from server.tape.merging.voting import SURE
from server.tape.self_checking import Checked, Checker
from server.tape.view import View

MOST_TRIED: Final = 1000
"""Combinations tried for one failing stretch."""

MOST_FRAMES: Final = 24_000_000
"""Frames that are checked in all for one merge: some ten seconds; half for either purpose."""

_CHANCE: Final = 1 / 256
"""How often a combination closes a record by chance: the shortest checksum has eight bits."""
_FAINTEST: Final = -30.0
_MOST_CANDIDATES: Final = 4
_PASSES: Final = 4
_CONTEXT: Final = 256
_MORE_TRIED: Final = 16


class _Score(NamedTuple):
    """Of a stretch: how many frames fail, and how many stand in sound records."""

    failing: int
    sound: int

    def betters(self, other: "_Score") -> bool:
        return self.failing < other.failing and self.sound > other.sound


class _Change(NamedTuple):
    """A row given another candidate than its likeliest, which is so much less likely."""

    cost: float
    row: int
    value: int


class _Stretch(NamedTuple):
    """Columns `start` up to `stop` that are checked together; `rows` of the ballot to choose in."""

    start: int
    stop: int
    rows: range


class Closing:
    """Settles `verdicts` by what `checker` says of the frames that stand there."""

    def __init__(self, verdicts: Verdicts, checker: Checker, levels: int) -> None:
        self._verdicts = verdicts
        self._checker = checker
        self._levels = levels
        self._left = MOST_FRAMES // 2
        self._ceiling = np.ones(len(verdicts.settled_by))

    def close(self) -> None:
        """Choose what closes records, then settle what the records that close vouch for."""
        for _ in range(_PASSES):
            checked = self._checked(self._verdicts.frames())
            columns = np.flatnonzero(self._verdicts.chosen >= 0)
            tried = [self._search(each) for each in self._failing(checked, columns)]
            if not any(tried):
                break
        self._left += MOST_FRAMES // 2
        checked = self._checked(self._verdicts.frames())
        self._vouch(checked.sound, np.flatnonzero(self._verdicts.chosen >= 0))

    def _checked(self, frames: bytes) -> Checked:
        self._left -= len(frames)
        return self._checker(View(Image(frames, self._levels))) if frames else Checked((), ())

    def _score(self, frames: bytes) -> _Score:
        checked = self._checked(frames)
        return _Score(*(sum(span.frames for span in spans) for spans in reversed(checked)))

    def _failing(self, checked: Checked, columns: NDArray[np.intp]) -> Iterator[_Stretch]:
        """The stretches between sound records, these included, in which something fails."""
        starts = [span.start for span in checked.sound]
        stops = [span.stop for span in checked.sound]
        gaps = sorted({int(np.searchsorted(starts, fault.start)) for fault in checked.faults})
        for gap in gaps:
            inner_start = stops[gap - 1] if gap else 0
            inner_stop = starts[gap] if gap < len(starts) else columns.size
            faults = [each for each in checked.faults if inner_start <= each.start < inner_stop]
            start = starts[gap - 1] if gap else max(0, faults[0].start - _CONTEXT)
            stop = stops[gap] if gap < len(starts) else faults[-1].stop + _CONTEXT
            # Columns without a frame just before the first frame of the gap belong to it.
            first = int(columns[inner_start - 1]) + 1 if inner_start else 0
            last = int(columns[inner_stop]) if inner_stop < columns.size else columns[-1] + 1
            yield _Stretch(
                int(columns[start]),
                int(columns[min(stop, columns.size) - 1]) + 1,
                self._rows(first, int(last)),
            )

    def _rows(self, start: int, stop: int) -> range:
        return range(*np.searchsorted(self._verdicts.ballot.columns, (start, stop)).tolist())

    def _search(self, stretch: _Stretch) -> bool:
        """Try what may stand in `stretch`; whether something better than what stands was found."""
        rows = self._open_rows(stretch)
        if not rows:
            return False
        at_first = self._score(self._verdicts.frames(stretch.start, stretch.stop))
        closing: list[tuple[_Change, ...]] = []
        best_score, explored, most = at_first, 0.0, MOST_TRIED
        for tried, changes in enumerate(_likeliest_first(self._changes(rows))):
            if tried >= most or self._left < 0:
                break
            explored += _weight(changes)
            score = self._score(self._with(stretch, rows, changes))
            if score.betters(best_score):
                best_score, closing = score, [changes]
                if not score.failing:
                    # Others that close it as well would cast doubt on this one.
                    most = min(MOST_TRIED, 2 * tried + _MORE_TRIED)
            elif score == best_score and closing:
                closing.append(changes)
        if closing:
            self._take(rows, closing[0])
            self._doubt(rows, closing, explored)
        return bool(closing)

    def _doubt(self, rows: list[int], closing: list[tuple[_Change, ...]], explored: float) -> None:
        """Hold against what was chosen in each row which others close, and what was not tried."""
        ballot = self._verdicts.ballot
        everything = float(np.exp(-ballot.logs[rows].max(axis=1).sum()))
        untried = max(everything - explored, 0.0) * _CHANCE
        weights = [_weight(changes) for changes in closing]
        chosen = {each.row: each.value for each in closing[0]}
        others = [{each.row: each.value for each in changes} for changes in closing]
        for row in rows:
            alike = [other.get(row) == chosen.get(row) for other in others]
            own = sum(weight for weight, same in zip(weights, alike, strict=True) if same)
            share = 0.0 if row in chosen else float(np.exp(ballot.logs[row].max()))
            against = sum(weights) - own + untried * (1 - share)
            self._ceiling[row] = own / (own + against)

    def _open_rows(self, stretch: _Stretch) -> list[int]:
        by = self._verdicts.settled_by
        return [row for row in stretch.rows if by[row] is not SettledBy.EYE]

    def _changes(self, rows: list[int]) -> list[_Change]:
        """Every single change worth trying, the likeliest first."""
        ballot = self._verdicts.ballot
        found = []
        for row in rows:
            logs = ballot.logs[row]
            order = np.argsort(-logs, kind="stable")[:_MOST_CANDIDATES]
            best = float(logs[order[0]])
            found += [
                _Change(best - float(logs[place]), row, int(ballot.candidates[row, place]))
                for place in order[1:]
                if logs[place] > _FAINTEST
            ]
        return sorted(found)

    def _with(self, stretch: _Stretch, rows: list[int], changes: tuple[_Change, ...]) -> bytes:
        part = self._verdicts.chosen[stretch.start : stretch.stop].copy()
        ballot = self._verdicts.ballot
        columns = ballot.columns[rows] - stretch.start
        inside = (columns >= 0) & (columns < part.size)
        part[columns[inside]] = ballot.chosen[rows][inside]
        for each in changes:
            column = int(ballot.columns[each.row]) - stretch.start
            if 0 <= column < part.size:
                part[column] = each.value
        return part[part > MISSING].astype(np.uint8).tobytes()

    def _take(self, rows: list[int], changes: tuple[_Change, ...]) -> None:
        ballot, chosen = self._verdicts.ballot, self._verdicts.chosen
        chosen[ballot.columns[rows]] = ballot.chosen[rows]
        for each in changes:
            chosen[ballot.columns[each.row]] = each.value

    def _vouch(self, sound: tuple[Span, ...], columns: NDArray[np.intp]) -> None:
        """Settle the rows within sound records, the most doubtful ones first."""
        stretches: dict[int, _Stretch] = {}
        for span in sound:
            start, stop = int(columns[span.start]), int(columns[span.stop - 1]) + 1
            stretch = _Stretch(start, stop, self._rows(start, stop))
            stretches.update(dict.fromkeys(stretch.rows, stretch))
        for row in sorted(stretches, key=lambda row: (self._verdicts.confidence[row], row)):
            if self._left < 0:
                break
            if self._verdicts.settled_by[row] is not SettledBy.EYE:
                self._vouch_for(row, stretches[row])

    def _vouch_for(self, row: int, stretch: _Stretch) -> None:
        verdicts = self._verdicts
        ballot, column = verdicts.ballot, int(verdicts.ballot.columns[row])
        stands = int(verdicts.chosen[column])
        logs = {
            int(value): float(log)
            for value, log in zip(ballot.candidates[row], ballot.logs[row], strict=True)
            if log > _FAINTEST
        }
        own = logs.pop(stands)
        others = sorted(logs.items(), key=lambda each: -each[1])[: _MOST_CANDIDATES - 1]
        against = 0.0
        for value, log in others:
            verdicts.chosen[column] = value
            score = self._score(verdicts.frames(stretch.start, stretch.stop))
            verdicts.chosen[column] = stands
            if not score.failing and score.sound:
                return
            against += float(np.exp(log - own)) * _CHANCE
        sure = min(1 / (1 + against), float(self._ceiling[row]))
        verdicts.confidence[row] = sure
        verdicts.settled_by[row] = SettledBy.CHECKSUM if sure >= SURE else SettledBy.OPEN


def _weight(changes: tuple[_Change, ...]) -> float:
    """How likely a combination is, against that of the likeliest candidates."""
    return float(np.exp(-sum(each.cost for each in changes)))


def _likeliest_first(changes: list[_Change]) -> Iterator[tuple[_Change, ...]]:
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
