"""Which line of one listing stands for which line of another."""

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from server.tape.alignment import Pair, common, gaps, numbered
from server.tape.line_targets import without_number

_ALIKE = 0.5
"""Similarity from which a line that went and a line that came are one line, changed."""

_ALIKE_DESPITE_NUMBER = 0.8
"""The same for two lines of different numbers, one of which may be misread."""

_NO_KEY = -1

_WEIGHED = 10_000
"""Products of lengths up to which every line of a gap is weighed against every other."""


class Keyed(NamedTuple):
    """Lines in normal form, none of them blank, and the number of each where it has one."""

    lines: Sequence[str]
    keys: Sequence[int | None]

    def between(self, start: int, stop: int) -> "Keyed":
        """The lines from `start` up to, not including, `stop`."""
        return Keyed(self.lines[start:stop], self.keys[start:stop])

    @property
    def bodies(self) -> list[str]:
        """The lines without their numbers."""
        return [without_number(line, key) for line, key in zip(self.lines, self.keys, strict=True)]


def pair(a: Keyed, b: Keyed) -> list[Pair]:
    """Which line of `a` stands for which of `b`, rising in both; equal or changed.

    First by number (a number that stands twice in a listing, as where two programs share a
    tape, tells nothing, so the content decides); then, among those left over, lines that differ
    in their number only; then lines that are alike, very much so if their numbers differ.
    """
    matched = common(*_by_number(a, b))
    for refine in (_by_body, _by_likeness):
        found = list(matched)
        for gap in gaps(matched, len(a.lines), len(b.lines)):
            if gap.left < gap.left_end and gap.right < gap.right_end:
                left, right = a.between(*gap[:2]), b.between(*gap[2:])
                found += ((gap.left + i, gap.right + j) for i, j in refine(left, right))
        matched = sorted(found)
    return matched


def _by_number(a: Keyed, b: Keyed) -> list[list[int]]:
    if all(None not in each.keys and len(set(each.keys)) == len(each.keys) for each in (a, b)):
        return numbered(a.keys, b.keys)
    counts_a, counts_b = Counter(a.keys), Counter(b.keys)

    def mark(line: str, key: int | None) -> int | str:
        return key if key is not None and counts_a[key] <= 1 >= counts_b[key] else line

    return numbered(
        (mark(line, key) for line, key in zip(a.lines, a.keys, strict=True)),
        (mark(line, key) for line, key in zip(b.lines, b.keys, strict=True)),
    )


def _by_body(a: Keyed, b: Keyed) -> list[Pair]:
    return common(*numbered(a.bodies, b.bodies))


def _by_likeness(a: Keyed, b: Keyed) -> list[Pair]:
    if len(a.lines) * len(b.lines) > _WEIGHED:
        return _face_to_face(a, b)
    weights: NDArray[np.float32] = cdist(
        a.lines, b.lines, scorer=Levenshtein.normalized_similarity, score_cutoff=_ALIKE
    )
    left, right = (np.array([_NO_KEY if key is None else key for key in x.keys]) for x in (a, b))
    other = (left[:, None] != right) & (left[:, None] != _NO_KEY) & (right != _NO_KEY)
    return _heaviest(np.where(other & (weights < _ALIKE_DESPITE_NUMBER), 0.0, weights))


def _face_to_face(a: Keyed, b: Keyed) -> list[Pair]:
    """Alike lines as far from the beginning of one side as from that of the other."""
    facing = enumerate(zip(a.lines, a.keys, b.lines, b.keys, strict=False))
    return [
        (at, at)
        for at, (left, left_key, right, right_key) in facing
        if Levenshtein.normalized_similarity(left, right)
        >= (
            _ALIKE
            if left_key == right_key or None in (left_key, right_key)
            else _ALIKE_DESPITE_NUMBER
        )
    ]


def _heaviest(weights: NDArray[np.float64]) -> list[Pair]:
    """Places that rise in both directions and whose weights sum to the most."""
    rows, columns = weights.shape
    best = np.zeros((rows + 1, columns + 1))
    for row in range(rows):
        taken = np.maximum(best[row, 1:], best[row, :-1] + weights[row])
        best[row + 1, 1:] = np.maximum.accumulate(taken)
    chosen = []
    row, column = rows, columns
    while row and column:
        if best[row, column] == best[row, column - 1]:
            column -= 1
        elif best[row, column] == best[row - 1, column]:
            row -= 1
        else:
            row, column = row - 1, column - 1
            chosen.append((row, column))
    return chosen[::-1]
