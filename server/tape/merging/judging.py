"""What stands in every column of a merge, and by what it came to stand there."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.errors import TapeError
from server.tape.merging.columns import BEYOND, MISSING, Booleans, Votes
from server.tape.merging.merged import SettledBy, Vote
from server.tape.merging.voting import IMPOSSIBLE, SURE, Ballot, Outcome, Reals

_OTHERS: Final = 2


@dataclass(slots=True)
class Verdicts:
    """What stands in each column (`chosen`); of each row of `ballot` also by what, and how surely.

    Rows that an eye settled have one candidate.
    """

    chosen: Votes
    ballot: Ballot
    settled_by: list[SettledBy]
    confidence: Reals

    def frames(self, start: int = 0, stop: int | None = None) -> bytes:
        """The frames that stand in the columns `start` up to `stop`."""
        part = self.chosen[start:stop]
        return part[part >= 0].astype(np.uint8).tobytes()


def judge(outcome: Outcome, votes: Votes, settled: Mapping[int, Vote], levels: int) -> Verdicts:
    """The verdict of the `votes` and of parity; what an eye settled stands above both.

    Raises:
        TapeError: `settled` names a column that there is not, or a frame that cannot be.
    """
    chosen, ballot = outcome.chosen.copy(), outcome.ballot
    for column, value in settled.items():
        _refuse_impossible(column, value, chosen.size, levels)
        chosen[column] = MISSING if value is None else value
    ballot = _with_settled(ballot, sorted(settled), chosen)
    by_eye = np.isin(ballot.columns, list(settled))
    confidence = np.where(by_eye, 1.0, ballot.confidence)
    how = [SettledBy(each) for each in _by(votes[:, ballot.columns], ballot, by_eye).tolist()]
    return Verdicts(chosen, ballot, how, confidence)


def _by(votes: Votes, ballot: Ballot, by_eye: Booleans) -> NDArray[np.str_]:
    """What settles each row: a majority only where more readings say so than say any other.

    Where two readings at least differ from what was chosen in several channels, they rather have
    another frame there than misread this one: nothing is settled.
    """
    chosen = ballot.chosen
    apart = np.bitwise_count(np.maximum(votes, 0) ^ np.maximum(chosen, 0)) > 1
    others = (apart & (votes >= 0) & (chosen >= 0)).sum(axis=0)
    sure = (ballot.confidence >= SURE) & (others < _OTHERS)
    for_it = (votes == chosen).sum(axis=0)
    against = np.stack([(votes == each).sum(axis=0) for each in votes])
    against[(votes == chosen) | (votes == BEYOND)] = 0
    plain = ballot.sure_without_parity & (for_it > against.max(axis=0))
    by_parity = sure & ~ballot.sure_without_parity
    return np.select(
        [by_eye, sure & plain, by_parity],
        [SettledBy.EYE.value, SettledBy.MAJORITY.value, SettledBy.PARITY.value],
        SettledBy.OPEN.value,
    )


def _refuse_impossible(column: int, value: Vote, columns: int, levels: int) -> None:
    if not 0 <= column < columns:
        raise TapeError(
            f"these readings have no column {column}",
            mend="take the columns that the disputes of this merge name",
        )
    if value is not None and not 0 <= value < 1 << levels:
        raise TapeError(
            f"a {levels}-level tape has no frame {value:02X}",
            mend=f"give a frame from 00 to {(1 << levels) - 1:02X}, or none",
        )


def _with_settled(ballot: Ballot, settled: list[int], chosen: Votes) -> Ballot:
    """The ballot with one candidate for what was settled, undisputed columns among it."""
    if not settled:
        return ballot
    added = np.setdiff1d(settled, ballot.columns)
    columns = np.concatenate([ballot.columns, added])
    order = np.argsort(columns)
    columns = columns[order].astype(np.intp)
    width = max(ballot.candidates.shape[1], 1)
    candidates = np.vstack([ballot.candidates, np.full((added.size, width), MISSING, np.int16)])
    logs = np.vstack([ballot.logs, np.zeros((added.size, width))])
    without = np.vstack([ballot.without_parity, np.zeros((added.size, width))])
    candidates, logs, without = candidates[order], logs[order], without[order]
    rows = np.searchsorted(columns, settled)
    candidates[rows] = chosen[settled][:, np.newaxis]
    for table in (logs, without):
        table[rows] = IMPOSSIBLE
        table[rows, 0] = 0.0
    return Ballot(columns, candidates, logs, without)
