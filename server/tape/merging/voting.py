"""The vote on disputed columns: how likely each candidate is to be what was punched.

The model is plain. A reading sees each channel of a frame wrong with a probability of its own,
loses a frame with another, and adds one with a third; errors of several readings are independent.
The probabilities are counted on the readings themselves, each error as far as it is probable. A
frame added is nearly always one read twice, so it equals a neighbour. On a tape in even or odd
parity a punched frame breaks the rule as seldom as undisputed frames do. Bayes' rule does the
rest.
"""

from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from server.tape.merging.columns import BEYOND, MISSING, Columns, Votes

Reals = NDArray[np.float64]
Number = TypeVar("Number", np.int16, np.float64)

SURE: Final = 0.99
"""The probability below which a disputed frame stays open."""

IMPOSSIBLE: Final = -1e9
"""The logarithm of the probability of a candidate that is ruled out."""

_NEVER_TRIED: Final = 200
"""Frames that each reading is held to have read before, half an error of each kind among them."""
_BEST: Final = 0.0005
"""No reader is trusted to misread a channel more seldom: on a bad spot of the tape readers err
together, and several that agree there are not as independent as the model says."""

_READ_TWICE: Final = 0.9
"""The share of added frames that equal a neighbour (our estimate: a reader that stutters)."""
_CHANNELS: Final = 8
_BYTES: Final = np.arange(256, dtype=np.uint8)
_HOLES: Final = (_BYTES[:, np.newaxis] >> np.arange(_CHANNELS, dtype=np.uint8)) & 1
_ODD: Final = (np.bitwise_count(_BYTES) & 1).astype(np.bool_)
_OBEYED: Final = 0.9
_ROUNDS: Final = 2
_ENOUGH: Final = 16


@dataclass(frozen=True, slots=True)
class Rates:
    """How often each reading errs, a row each: per channel, by losing and by adding a frame."""

    flips: Reals
    drops: Reals
    adds: Reals

    @property
    def errors(self) -> Reals:
        """How often each reading has a frame wrong, whatever the error."""
        errors: Reals = np.minimum(self.flips.sum(axis=1) + self.drops + self.adds, 0.5)
        return errors


@dataclass(frozen=True, slots=True)
class Ballot:
    """Candidates for each of `columns`, a row each, with the logarithm of their probability.

    `without_parity` is the same as if parity had nothing to say. Candidates are frames or
    `MISSING`; one that stands twice is possible once.
    """

    columns: NDArray[np.intp]
    candidates: Votes
    logs: Reals
    without_parity: Reals

    @property
    def chosen(self) -> Votes:
        """The likeliest candidate of each column."""
        return _picked(self.candidates, self.logs.argmax(axis=1))

    @property
    def confidence(self) -> Reals:
        """The probability of the likeliest candidate of each column."""
        best: Reals = np.exp(self.logs.max(axis=1))
        return best

    @property
    def sure_without_parity(self) -> NDArray[np.bool_]:
        """Where the same candidate would be sure if parity had nothing to say."""
        best = self.logs.argmax(axis=1)
        sure: NDArray[np.bool_] = _picked(self.without_parity, best) >= np.log(SURE)
        return sure


@dataclass(frozen=True, slots=True)
class Outcome:
    """The ballot on disputed columns, the rates behind it, and what stands in each column."""

    ballot: Ballot
    rates: Rates
    chosen: Votes


def vote(table: Columns, levels: int) -> Outcome:
    """Let the readings vote on every column."""
    chosen, disputed = table.plurality.copy(), table.disputed
    breaks = _parity_breaks(table, levels)
    rates = _alike(len(table.votes))
    ballot = _ballot(table, chosen, rates, breaks, levels)
    # Which reading errs how often shows in what was punched, and that depends on the rates.
    for _ in range(_ROUNDS):
        rates = _rates(table, ballot)
        chosen[disputed] = ballot.chosen
        ballot = _ballot(table, chosen, rates, breaks, levels)
    chosen[disputed] = ballot.chosen
    return Outcome(ballot, rates, chosen)


def _alike(readings: int) -> Rates:
    """The rates before anything is known: those of a poor reader, the same for each."""
    flips, shifts = np.full((readings, _CHANNELS), _BEST), np.full(readings, 2 * _BEST)
    return Rates(flips, shifts, shifts)


def _parity_breaks(table: Columns, levels: int) -> Reals:
    """For each of 256 frames: the logarithm of how likely one with that parity was punched."""
    flat: Reals = np.zeros(256)
    agreed = np.delete(table.most, table.disputed)
    counts = np.bincount(agreed[agreed >= 0], minlength=256)
    counts[[0, (1 << levels) - 1]] = 0
    total, odd = int(counts.sum()), int(counts[_ODD].sum())
    most = max(odd, total - odd)
    if levels < _CHANNELS or total < _ENOUGH or most < _OBEYED * total:
        return flat
    breaking = float(total - most + 1) / (total + 2)
    obeys = _ODD if odd == most else ~_ODD
    flat[obeys], flat[~obeys] = np.log(1 - breaking), np.log(breaking)
    return flat


def _rates(table: Columns, ballot: Ballot) -> Rates:
    """How often each reading errs, if each candidate was punched as probably as the ballot says."""
    reached = table.reached + _NEVER_TRIED
    likely, candidates = np.exp(ballot.logs), ballot.candidates
    flips = np.empty((len(table.votes), _CHANNELS))
    drops, adds = np.empty(len(table.votes)), np.empty(len(table.votes))
    for number, row in enumerate(table.votes[:, ballot.columns]):
        votes = np.broadcast_to(row[:, np.newaxis], candidates.shape)
        both = (votes >= 0) & (candidates >= 0)
        wrong = (votes ^ candidates)[both]
        flips[number] = np.bincount(wrong, weights=likely[both], minlength=256) @ _HOLES
        drops[number] = likely[(votes == MISSING) & (candidates >= 0)].sum()
        adds[number] = likely[(votes >= 0) & (candidates == MISSING)].sum()
    return Rates(
        np.clip((flips + 0.5 / _CHANNELS) / reached[:, np.newaxis], _BEST, 0.25),
        np.minimum((drops + 0.5) / reached, 0.25),
        np.minimum((adds + 0.5) / reached, 0.25),
    )


def _ballot(table: Columns, chosen: Votes, rates: Rates, breaks: Reals, levels: int) -> Ballot:
    disputed = table.disputed
    votes = table.votes[:, disputed]
    candidates = _candidates(votes, levels)
    logs = _likelihoods(votes, candidates, rates, neighbours(chosen, disputed))
    logs += _existing(candidates, votes, chosen, disputed)
    logs[_repeated(candidates)] = IMPOSSIBLE
    bent = logs + np.where(candidates >= 0, breaks[np.maximum(candidates, 0)], 0.0)
    return Ballot(disputed, candidates, _normalised(bent), _normalised(logs))


def _candidates(votes: Votes, levels: int) -> Votes:
    """Every vote cast in a column, and the frames with the holes that most readings have.

    Holes that just half of them have are taken once as there and once as not.
    """
    cast = np.where(votes == BEYOND, votes.max(axis=0), votes)
    present = np.maximum((votes >= 0).sum(axis=0), 1)
    holes = np.zeros((2, votes.shape[1]), np.int16)
    for channel in range(levels):
        punched = 2 * ((votes >= 0) & (votes >> channel & 1 == 1)).sum(axis=0)
        holes |= np.stack([punched > present, punched >= present]).astype(np.int16) << channel
    return np.vstack([cast, holes]).T


def _repeated(candidates: Votes) -> NDArray[np.bool_]:
    """Which candidates stand in their column already."""
    repeated = np.zeros(candidates.shape, np.bool_)
    for place in range(1, candidates.shape[1]):
        repeated[:, place] = (candidates[:, :place] == candidates[:, [place]]).any(axis=1)
    return repeated


def neighbours(chosen: Votes, columns: NDArray[np.intp]) -> tuple[Votes, Votes]:
    """The frames before and behind each of `columns`; `MISSING` where there is none."""
    standing = np.flatnonzero(chosen >= 0)
    padded = np.concatenate([[MISSING], chosen[standing], [MISSING]]).astype(np.int16)
    before = np.searchsorted(standing, columns)
    behind = np.searchsorted(standing, columns, side="right") + 1
    return padded[before], padded[behind]


def _likelihoods(
    votes: Votes, candidates: Votes, rates: Rates, neighbours: tuple[Votes, Votes]
) -> Reals:
    """How likely it is that the readings show what they do, if each candidate were punched."""
    logs = np.zeros(candidates.shape)
    none = candidates == MISSING
    for number, row in enumerate(votes):
        flips = rates.flips[number]
        seen = _HOLES @ np.log(flips) + (1 - _HOLES) @ np.log(1 - flips)
        drop, add = rates.drops[number], rates.adds[number]
        twice = (row == neighbours[0]) | (row == neighbours[1])
        added = np.log(add) + np.log(np.where(twice, _READ_TWICE, (1 - _READ_TWICE) / 255))
        of_frame = seen[(candidates ^ row[:, np.newaxis]) & 0xFF] + np.log(1 - drop)
        present = np.where(none, added[:, np.newaxis], of_frame)
        missing = np.where(none, np.log(1 - add), np.log(drop))
        told = np.where((row == MISSING)[:, np.newaxis], missing, present)
        logs += np.where((row == BEYOND)[:, np.newaxis], 0.0, told)
    return logs


def _existing(candidates: Votes, votes: Votes, chosen: Votes, columns: NDArray[np.intp]) -> Reals:
    """How likely a frame is beforehand, where a reading has none: like a neighbour, or other."""
    near = neighbours(chosen, columns)
    like = (candidates == near[0][:, np.newaxis]) | (candidates == near[1][:, np.newaxis])
    alike = _repeating(chosen, columns)[:, np.newaxis]
    logs = np.where(like, np.log(alike), np.log((1 - alike) / 255))
    doubtful = (votes == MISSING).any(axis=0)[:, np.newaxis]
    return np.where(doubtful & (candidates >= 0), logs, 0.0)


def _repeating(chosen: Votes, columns: NDArray[np.intp]) -> Reals:
    """How likely the frame in each of `columns` repeats its neighbour.

    Where the neighbours themselves stand in a row of equal frames, that is likelier.
    """
    standing = chosen[chosen >= 0]
    same = standing[1:] == standing[:-1]
    after_same = same[1:][same[:-1]]
    seldom = (np.count_nonzero(same) + 1) / (same.size + 2)
    in_rows = (np.count_nonzero(after_same) + 1) / (after_same.size + 2)
    places = np.cumsum(chosen >= 0)[columns]
    rows = np.zeros(standing.size + 4, np.bool_)
    rows[2 : same.size + 2] = same
    own = (chosen[columns] >= 0).astype(np.intp)
    # The pairs before and behind the frame itself, which is not to vouch for its own row.
    in_row = rows[places - own] | rows[places + 2]
    likely: Reals = np.where(in_row, in_rows, seldom)
    return likely


def _normalised(logs: Reals) -> Reals:
    """Logarithms of probabilities that sum to 1 in each row."""
    if not logs.size:
        return logs
    greatest = logs.max(axis=1, keepdims=True)
    total = np.log(np.exp(logs - greatest).sum(axis=1, keepdims=True))
    normal: Reals = np.minimum(logs - greatest - total, 0.0)
    return normal


def _picked(rows: NDArray[Number], places: NDArray[np.intp]) -> NDArray[Number]:
    """From each row what stands at its place."""
    return np.take_along_axis(rows, places[:, np.newaxis], axis=1)[:, 0]
