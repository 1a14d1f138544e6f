"""Readings under each other in columns: what each has at every place of the tape."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.merging.pairing import Pairing

Votes = NDArray[np.int16]
Booleans = NDArray[np.bool_]
Integers = NDArray[np.int64]
Places = NDArray[np.int32]

MISSING: Final = -1
"""The reading has no frame there."""
BEYOND: Final = -2
"""The reading does not reach so far."""
_NEVER: Final = 0x7FFF


@dataclass(frozen=True)
class Columns:
    """The votes of each reading, a row each, and the frame of it (as turned) that lies there.

    `votes` are frames, `MISSING` or `BEYOND`. `places` give, where a frame is missing, the one
    that follows it; what they hold beyond a reading means nothing.
    """

    votes: Votes
    places: Places

    @property
    def count(self) -> int:
        """How many columns there are."""
        return int(self.votes.shape[1])

    @cached_property
    def disputed(self) -> NDArray[np.intp]:
        """The columns in which readings that reach there disagree."""
        least = np.where(self.votes == BEYOND, np.int16(_NEVER), self.votes).min(axis=0)
        return np.flatnonzero((self.most > MISSING) & (least != self.most))

    @cached_property
    def most(self) -> Votes:
        """The greatest vote in each column: the one there is, where there is no dispute."""
        greatest: Votes = self.votes.max(axis=0)
        return greatest

    @cached_property
    def reached(self) -> Integers:
        """How many columns each reading reaches."""
        count: Integers = (self.votes != BEYOND).sum(axis=1, dtype=np.int64)
        return count

    @cached_property
    def plurality(self) -> Votes:
        """The vote that most readings cast in each column, the smallest of several such."""
        voted = self.most.copy()
        votes = self.votes[:, self.disputed]
        count = np.stack([(votes == each).sum(axis=0) for each in votes])
        count[votes == BEYOND] = 0
        ties = np.where(count == count.max(axis=0), votes, np.int16(_NEVER))
        voted[self.disputed] = ties.min(axis=0)
        return voted

    @property
    def held(self) -> bytes:
        """The frames that most readings hold, one after the other."""
        return self.plurality[self.plurality >= 0].astype(np.uint8).tobytes()


def columns(pairings: Sequence[Pairing]) -> Columns:
    """The columns of `pairings`, all of one base.

    Frames that readings have more than the base stand in columns of their own before the frame
    of the base that follows them, those of all readings from the first column on.
    """
    length = len(pairings[0].base)
    widths = _widths(pairings, length)
    base = np.arange(length) + np.cumsum(widths[:-1])
    count = length + int(widths.sum())
    votes = np.full((len(pairings), count), BEYOND, np.int16)
    places = np.zeros((len(pairings), count), np.int32)
    added = np.ones(count, np.bool_)
    added[base] = False
    for number, pairing in enumerate(pairings):
        if pairing.begins < pairing.ends:
            inside = slice(int(base[pairing.begins]), int(base[pairing.ends - 1]) + 1)
            _fill(votes[number, inside], places[number, inside], pairing, added[inside])
            _add(votes[number], places[number], pairing, base)
    return Columns(votes, places)


def _widths(pairings: Sequence[Pairing], length: int) -> Integers:
    """How many columns stand before each frame of the base, and behind the last."""
    widths = np.zeros(length + 1, np.int64)
    for pairing in pairings:
        for each in pairing.indels:
            widths[each.left] = max(widths[each.left], each.right_end - each.right)
    return widths


def _fill(votes: Votes, places: Places, pairing: Pairing, added: Booleans) -> None:
    """Write what one reading has where it reaches; in the columns `added` the base has no frame."""
    other = np.frombuffer(pairing.other, np.uint8)
    own = other[np.minimum(pairing.at, other.size - 1)].astype(np.int16)
    own[pairing.missing] = MISSING
    columns = np.flatnonzero(added)
    if not columns.size:
        votes[:], places[:] = own, pairing.at
        return
    votes[~added], places[~added] = own, pairing.at
    votes[columns] = MISSING
    places[columns] = pairing.at[columns - np.arange(columns.size)]


def _add(votes: Votes, places: Places, pairing: Pairing, base: Integers) -> None:
    """Write the frames that one reading has more than the base."""
    for each in pairing.indels:
        size = each.right_end - each.right
        if size:
            before = int(base[each.left - 1]) + 1
            votes[before : before + size] = np.frombuffer(
                pairing.other[each.right : each.right_end], np.uint8
            )
            places[before : before + size] = np.arange(each.right, each.right_end)
