"""Alignment of two sequences: which items of one stand for which items of the other, in order.

Up to ten thousand items a side the longest common subsequence is found exactly. Beyond that the
sequences are first cut at items that stand once in each, along the longest run of those that
rises in both (J. W. Hunt and T. G. Szymanski, 'A fast algorithm for computing longest common
subsequences', CACM 20 (5), 1977), so that neither time nor memory grows with the square.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Sequence
from itertools import chain
from typing import NamedTuple

from rapidfuzz.distance import LCSseq

Pair = tuple[int, int]

_CELLS = 100_000_000
"""Products of lengths up to which the exact search is done: 12 MB, about 10 ms."""


class Gap(NamedTuple):
    """Items `left` to `left_end` of one sequence that face `right` to `right_end` of the other."""

    left: int
    left_end: int
    right: int
    right_end: int


def numbered(*sequences: Iterable[Hashable]) -> list[list[int]]:
    """The sequences, each with equal items turned into equal small numbers."""
    numbers: dict[Hashable, int] = {}
    return [[numbers.setdefault(item, len(numbers)) for item in sequence] for sequence in sequences]


def common(a: Sequence[int], b: Sequence[int]) -> list[Pair]:
    """Places of equal items, rising in both: a longest such list, where that is affordable."""
    start = _prefix(a, b)
    stop = _prefix(a[start:][::-1], b[start:][::-1])
    inner = Gap(start, len(a) - stop, start, len(b) - stop)
    ends = ((len(a) - at, len(b) - at) for at in range(stop, 0, -1))
    return [*((at, at) for at in range(start)), *_within(a, b, inner), *ends]


def gaps(pairs: Iterable[Pair], length_a: int, length_b: int) -> Iterator[Gap]:
    """What lies between `pairs`, before the first and after the last, where anything does."""
    left = right = 0
    for next_left, next_right in chain(pairs, [(length_a, length_b)]):
        if next_left > left or next_right > right:
            yield Gap(left, next_left, right, next_right)
        left, right = next_left + 1, next_right + 1


def _prefix(a: Sequence[int], b: Sequence[int]) -> int:
    shorter = min(len(a), len(b))
    return next((at for at in range(shorter) if a[at] != b[at]), shorter)


def _within(a: Sequence[int], b: Sequence[int], gap: Gap) -> list[Pair]:
    inner_a, inner_b = a[gap.left : gap.left_end], b[gap.right : gap.right_end]
    if len(inner_a) * len(inner_b) <= _CELLS:
        found = _longest(inner_a, inner_b)
    else:
        once = anchors(inner_a, inner_b)
        found = sorted(chain(once, _between(inner_a, inner_b, once)))
    return [(gap.left + left, gap.right + right) for left, right in found]


def _longest(a: Sequence[int], b: Sequence[int]) -> list[Pair]:
    if not a or not b:
        return []
    blocks = LCSseq.editops(a, b).as_matching_blocks()
    return [(block.a + at, block.b + at) for block in blocks for at in range(block.size)]


def _between(a: Sequence[int], b: Sequence[int], once: list[Pair]) -> Iterator[Pair]:
    for gap in gaps(once, len(a), len(b)):
        # A gap without anchors that is still too large holds nothing worth the time.
        if (gap.left_end - gap.left) * (gap.right_end - gap.right) <= _CELLS:
            yield from _within(a, b, gap)


def anchors(a: Sequence[int], b: Sequence[int]) -> list[Pair]:
    """Items that stand once in each: the longest list of them that rises in both."""
    once_a, once_b = _once(a), _once(b)
    pairs = [(at, once_b[item]) for item, at in once_a.items() if item in once_b]
    return [pairs[at] for at in rising([right for _, right in pairs])]


def _once(sequence: Sequence[int]) -> dict[int, int]:
    """The place of each item that stands once, in order of place."""
    counts = Counter(sequence)
    return {item: at for at, item in enumerate(sequence) if counts[item] == 1}


def rising(numbers: Sequence[int]) -> list[int]:
    """The places of a longest list out of `numbers` that rises, none of it equal to another."""
    ends: list[int] = []
    last: list[int] = []
    before: list[int] = []
    for at, number in enumerate(numbers):
        place = bisect_left(ends, number)
        before.append(last[place - 1] if place else -1)
        ends[place : place + 1] = [number]
        last[place : place + 1] = [at]
    chosen = []
    at = last[-1] if last else -1
    while at >= 0:
        chosen.append(at)
        at = before[at]
    return chosen[::-1]
