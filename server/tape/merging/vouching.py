"""Disputed frames in records that close: settled where nothing else closes the record too."""

from itertools import islice
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Span
from server.tape.merging.closing import CHANCE
from server.tape.merging.merged import SettledBy
from server.tape.merging.trying import (
    FAINTEST,
    MOST_CANDIDATES,
    Stretch,
    Trial,
    likeliest_first,
)
from server.tape.merging.voting import SURE, Reals

_UNSEEN: Final = 1e-4
"""How often a record that closes holds an error that no reading shows (our estimate)."""

_LIKELY: Final = 9.0
_MOST_TOGETHER: Final = 64


class Vouching:
    """Settles rows of the verdicts of `trial`, none more surely than its `ceiling`."""

    def __init__(self, trial: Trial, ceiling: Reals) -> None:
        self._trial = trial
        self._verdicts = trial.verdicts
        self._ceiling = ceiling

    def vouch(self) -> None:
        """Settle what the records that close vouch for."""
        checked = self._trial.checked(self._verdicts.frames())
        self._vouch(checked.sound, np.flatnonzero(self._verdicts.chosen >= 0))
        self._leave_open()

    def _vouch(self, sound: tuple[Span, ...], columns: NDArray[np.intp]) -> None:
        """Settle the rows within sound records, the most doubtful ones first."""
        stretches: dict[int, Stretch] = {}
        for span in sound:
            start, stop = int(columns[span.start]), int(columns[span.stop - 1]) + 1
            stretch = Stretch(start, stop, self._trial.rows(start, stop))
            stretches.update(dict.fromkeys(self._trial.open_rows(stretch), stretch))
        order = sorted(stretches, key=lambda row: (self._verdicts.confidence[row], row))
        doubts: dict[int, dict[int, float]] = {}
        for row in order:
            if self._trial.left < 0:
                break
            stretch = stretches[row]
            if stretch.start not in doubts:
                doubts[stretch.start] = self._together(stretch)
            self._vouch_for(row, stretch, doubts[stretch.start].get(row, 0.0))

    def _leave_open(self) -> None:
        """Open what was chosen against the votes, to close a record, and is not sure after all."""
        verdicts, ballot = self._verdicts, self._verdicts.ballot
        chosen = verdicts.chosen[ballot.columns]
        for row in np.flatnonzero(chosen != ballot.chosen).tolist():
            if verdicts.settled_by[row] in {SettledBy.MAJORITY, SettledBy.PARITY, SettledBy.OPEN}:
                of_it = ballot.logs[row][ballot.candidates[row] == chosen[row]]
                likely = float(np.exp(of_it.max()))
                verdicts.settled_by[row] = SettledBy.OPEN
                verdicts.confidence[row] = min(likely, float(verdicts.confidence[row]))

    def _together(self, stretch: Stretch) -> dict[int, float]:
        """What speaks against each row because several, changed together, close as well."""
        rows = self._trial.open_rows(stretch)
        possible = self._trial.changes(rows)
        likely = [each for each in possible if each.cost < _LIKELY]
        found: dict[int, float] = {}
        if len({each.row for each in likely}) < 2:
            return found
        ballot, chosen = self._verdicts.ballot, self._verdicts.chosen
        best = dict(zip(rows, ballot.chosen[rows].tolist(), strict=True))
        stands = {row: int(chosen[ballot.columns[row]]) for row in rows}
        own = sum(
            each.cost
            for each in possible
            if stands[each.row] != best[each.row] and stands[each.row] == each.value
        )
        for changes in islice(likeliest_first(likely), _MOST_TOGETHER):
            other = best | {each.row: each.value for each in changes}
            differing = [row for row in rows if other[row] != stands[row]]
            cost = sum(each.cost for each in changes) - own
            if len(differing) < 2 or cost > _LIKELY:
                continue
            score = self._trial.score(self._trial.with_changes(stretch, rows, changes))
            if not score.failing and score.sound:
                for row in differing:
                    found[row] = found.get(row, 0.0) + float(np.exp(-cost))
        return found

    def _vouch_for(self, row: int, stretch: Stretch, against: float) -> None:
        """Settle one row if no other candidate closes its record; so much speaks `against` it."""
        verdicts = self._verdicts
        ballot, column = verdicts.ballot, int(verdicts.ballot.columns[row])
        stands = int(verdicts.chosen[column])
        logs = {
            int(value): float(log)
            for value, log in zip(ballot.candidates[row], ballot.logs[row], strict=True)
            if log > FAINTEST
        }
        own = logs.pop(stands)
        others = sorted(logs.items(), key=lambda each: -each[1])[: MOST_CANDIDATES - 1]
        for value, log in others:
            verdicts.chosen[column] = value
            score = self._trial.score(verdicts.frames(stretch.start, stretch.stop))
            verdicts.chosen[column] = stands
            if not score.failing and score.sound:
                return
            against += float(np.exp(log - own)) * CHANCE * _UNSEEN
        sure = min(1 / (1 + against), float(self._ceiling[row]))
        verdicts.confidence[row] = sure
        verdicts.settled_by[row] = SettledBy.CHECKSUM if sure >= SURE else SettledBy.OPEN
