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

MISSING: Final = -1
"""The reading has no frame there."""
BEYOND: Final = -2
"""The reading does not reach so far."""
_NEVER: Final = 0x7FFF


@dataclass(frozen=True)
class Columns:
    """The votes of each reading, a row each, and the frame of it (as turned) that lies there.

    `votes` are frames, `MISSING` or `BEYOND`. `places` give, where a frame is missing, the one
    that follows it; what they hold beyond a reading means nothing. `base` is the column of each
    frame of the tape on which all were laid.
    """

    votes: Votes
    places: NDArray[np.int32]
    base: NDArray[np.int64]

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
    for number, pairing in enumerate(pairings):
        _fill(votes[number], places[number], pairing, base)
    return Columns(votes, places, base)


def _widths(pairings: Sequence[Pairing], length: int) -> NDArray[np.int64]:
    """How many columns stand before each frame of the base, and behind the last."""
    widths = np.zeros(length + 1, np.int64)
    for pairing in pairings:
        for each in pairing.indels:
            widths[each.left] = max(widths[each.left], each.right_end - each.right)
    return widths


def _fill(
    votes: Votes, places: NDArray[np.int32], pairing: Pairing, base: NDArray[np.int64]
) -> None:
    """Write what one reading has into its row."""
    if pairing.begins == pairing.ends:
        return
    inside = slice(int(base[pairing.begins]), int(base[pairing.ends - 1]) + 1)
    other = np.frombuffer(pairing.other, np.uint8)
    own = base[pairing.begins : pairing.ends] - inside.start
    votes[inside] = MISSING
    present = own[~pairing.missing]
    votes[inside][present] = other[pairing.at[~pairing.missing]]
    # Columns that only other readings fill come before the frame that follows them.
    following = np.searchsorted(own, np.arange(inside.stop - inside.start))
    places[inside] = pairing.at[following]
    for each in pairing.indels:
        size = each.right_end - each.right
        if size:
            before = int(base[each.left - 1]) + 1
            votes[before : before + size] = other[each.right : each.right_end]
            places[before : before + size] = np.arange(each.right, each.right_end)
            places[before + size : int(base[each.left])] = each.right_end
