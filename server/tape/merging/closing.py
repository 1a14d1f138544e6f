"""Records that fail, closed by what may stand in them instead.

Combinations of the candidates in a record are tried, the likeliest first, until one closes it;
what others close it as well, and what was not tried, is held against it.
"""

from collections.abc import Iterator
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.merging.trying import Change, Stretch, Trial, likeliest_first, weight_of
from server.tape.self_checking import Checked

MOST_TRIED: Final = 1000
"""Combinations tried for one failing stretch."""

CHANCE: Final = 1 / 256
"""How often a combination closes a record by chance: the shortest checksum has eight bits."""

_PASSES: Final = 4
_CONTEXT: Final = 256
_AS_LIKELY: Final = 5.0


class Closing:
    """Chooses, in the verdicts of `trial`, what closes records that fail.

    `ceiling` says of each row how sure it can be after that, 0 to 1.
    """

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._verdicts = trial.verdicts
        self.ceiling = np.ones(len(trial.verdicts.settled_by))

    def close(self) -> None:
        """Close what can be closed."""
        for _ in range(_PASSES):
            checked = self._trial.checked(self._verdicts.frames())
            columns = np.flatnonzero(self._verdicts.chosen >= 0)
            tried = [self._search(each) for each in self._failing(checked, columns)]
            if not any(tried):
                break

    def _failing(self, checked: Checked, columns: NDArray[np.intp]) -> Iterator[Stretch]:
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
            yield Stretch(
                int(columns[start]),
                int(columns[min(stop, columns.size) - 1]) + 1,
                self._trial.rows(first, int(last)),
            )

    def _search(self, stretch: Stretch) -> bool:
        """Try what may stand in `stretch`; whether something better than what stands was found."""
        rows = self._trial.open_rows(stretch)
        if not rows:
            return False
        at_first = self._trial.score(self._verdicts.frames(stretch.start, stretch.stop))
        closing: list[tuple[Change, ...]] = []
        best_score, explored, most = at_first, 0.0, inf
        for tried, changes in enumerate(likeliest_first(self._trial.changes(rows))):
            cost = sum(each.cost for each in changes)
            if tried >= MOST_TRIED or cost > most or self._trial.left < 0:
                break
            explored += weight_of(changes)
            score = self._trial.score(self._trial.with_changes(stretch, rows, changes))
            if score.betters(best_score):
                best_score, closing = score, [changes]
                if not score.failing:
                    # Others that close it as well would cast doubt on this one.
                    most = cost + _AS_LIKELY
            elif score == best_score and closing:
                closing.append(changes)
        if closing:
            self._take(rows, closing[0])
            self._doubt(rows, closing, explored)
        return bool(closing)

    def _doubt(self, rows: list[int], closing: list[tuple[Change, ...]], explored: float) -> None:
        """Hold against what was chosen in each row which others close, and what was not tried."""
        ballot = self._verdicts.ballot
        everything = float(np.exp(-ballot.logs[rows].max(axis=1).sum()))
        untried = max(everything - explored, 0.0) * CHANCE
        weights = [weight_of(changes) for changes in closing]
        chosen = {each.row: each.value for each in closing[0]}
        others = [{each.row: each.value for each in changes} for changes in closing]
        for row in rows:
            alike = [other.get(row) == chosen.get(row) for other in others]
            own = sum(weight for weight, same in zip(weights, alike, strict=True) if same)
            share = 0.0 if row in chosen else float(np.exp(ballot.logs[row].max()))
            against = sum(weights) - own + untried * (1 - share)
            self.ceiling[row] = own / (own + against)

    def _take(self, rows: list[int], changes: tuple[Change, ...]) -> None:
        ballot, chosen = self._verdicts.ballot, self._verdicts.chosen
        chosen[ballot.columns[rows]] = ballot.chosen[rows]
        for each in changes:
            chosen[ballot.columns[each.row]] = each.value
