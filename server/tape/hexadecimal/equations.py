"""What a record's checksum and length say of single digits: which other, further or fewer fits."""

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Integers
from server.tape.hexadecimal.records import Grammar

LONGEST_LENGTH = 0xFF
"""A length is one byte."""

_VALUES = np.arange(16)


class Slip(NamedTuple):
    """A digit at `place`, counted from 0: one that was dropped there, or read twice."""

    place: int
    digit: int


@dataclass(frozen=True, slots=True)
class Equations:
    """What the digits of a record of a certain size fulfil: its checks, and its length.

    `weights` has a row an equation and a column a digit; a row times the digits gives its
    target modulo `modulus`.
    """

    weights: Integers
    targets: Integers
    modulus: int

    def lacking(self, digits: Integers) -> Integers:
        """What is wanting in each equation; 0 where it holds."""
        return (self.targets - self.weights @ digits) % self.modulus

    def solutions(self, digits: Integers, places: slice) -> list[tuple[int, int]]:
        """Both digits at `places`, where 0 stands now: every pair with which all equations hold."""
        high, low = self.weights[:, places].T[:, :, np.newaxis, np.newaxis]
        gained = high * _VALUES[:, np.newaxis] + low * _VALUES
        fit = self._all_hold(gained, self.lacking(digits))
        return [(int(one), int(other)) for one, other in np.argwhere(fit)]

    def changes(self, digits: Integers) -> list[Slip]:
        """Every single digit that could be another, so that all equations hold."""
        gained = self.weights[:, :, np.newaxis] * (_VALUES - digits[:, np.newaxis])
        return _slips(self._all_hold(gained, self.lacking(digits)))

    def insertions(self, digits: Integers) -> list[Slip]:
        """Every digit that can be put in among `digits`, which are one too few.

        Of a run of equal digits, one put in stands for all.
        """
        before, after = self._sums(digits, self.weights[:, :-1], self.weights[:, 1:])
        gained = (before + after)[:, :, np.newaxis] + self.weights[:, :, np.newaxis] * _VALUES
        fit = self._all_hold(gained, self.targets)
        fit[np.arange(1, len(fit)), digits] = False
        return _slips(fit)

    def doublings(self, digits: Integers) -> list[Slip]:
        """Every digit that equals the next and can be left out of `digits`, one too many."""
        none = np.zeros((len(self.weights), 1), np.int64)
        before, after = self._sums(
            digits, np.append(self.weights, none, 1), np.append(none, self.weights, 1)
        )
        fit = self._all_hold((before[:, :-1] + after[:, 1:])[:, :, np.newaxis], self.targets)[:, 0]
        same = digits[1:] == digits[:-1]
        first = ~np.append(False, same[:-1])
        places = np.flatnonzero(fit[:-1] & same & first)
        return [Slip(place, int(digits[place])) for place in places.tolist()]

    def _all_hold(self, gained: Integers, wanting: Integers) -> NDArray[np.bool_]:
        wanted = wanting.reshape(-1, *(1,) * (gained.ndim - 1))
        return np.asarray(np.all((gained - wanted) % self.modulus == 0, axis=0))

    @staticmethod
    def _sums(digits: Integers, early: Integers, late: Integers) -> tuple[Integers, Integers]:
        """At each place, what the digits before it weigh, and those from it on."""
        none = np.zeros((len(early), 1), np.int64)
        before = np.append(none, np.cumsum(early * digits, axis=1), axis=1)
        after = np.append(none, np.cumsum((late * digits)[:, ::-1], axis=1), axis=1)[:, ::-1]
        return before, after


@lru_cache(maxsize=1024)
def equations(grammar: Grammar, size: int) -> Equations | None:
    """What the digits of a record of `size` bytes fulfil; None where no record has that size."""
    length = grammar.length_of(size)
    if size < grammar.least or not 0 <= length <= LONGEST_LENGTH:
        return None
    if grammar.size_of(length) != size:
        return None
    checks = grammar.check.rows(size)
    says = np.zeros((1, 2 * size), np.int64)
    says[0, 2 * grammar.length_at : 2 * grammar.length_at + 2] = 16, 1
    targets = np.array([*(grammar.check.target,) * len(checks), length], np.int64)
    return Equations(np.concatenate([checks, says]), targets, grammar.check.modulus)


def _slips(fit: NDArray[np.bool_]) -> list[Slip]:
    return [Slip(int(place), int(digit)) for place, digit in np.argwhere(fit)]
