from itertools import pairwise
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape import alignment
from server.tape.alignment import Gap, common, gaps, numbered

sequences = st.lists(st.integers(0, 4), max_size=30)


def longest(a: list[int], b: list[int]) -> int:
    """By the definition, one cell at a time."""
    row = [0] * (len(b) + 1)
    for item in a:
        above = row
        row = [0]
        for at, other in enumerate(b):
            row.append(above[at] + 1 if item == other else max(row[at], above[at + 1]))
    return row[-1]


def rises(pairs: list[tuple[int, int]]) -> bool:
    return all(x[0] < y[0] and x[1] < y[1] for x, y in pairwise(pairs))


@given(sequences, sequences)
def test_the_longest_rising_list_of_equal_items_is_found(a: list[int], b: list[int]) -> None:
    pairs = common(a, b)
    assert len(pairs) == longest(a, b)
    assert rises(pairs)
    assert [a[left] for left, _ in pairs] == [b[right] for _, right in pairs]


@given(sequences, sequences)
def test_gaps_and_pairs_together_are_everything(a: list[int], b: list[int]) -> None:
    pairs = common(a, b)
    between = list(gaps(pairs, len(a), len(b)))
    lefts = [at for gap in between for at in range(gap.left, gap.left_end)]
    rights = [at for gap in between for at in range(gap.right, gap.right_end)]
    assert sorted([*lefts, *(left for left, _ in pairs)]) == list(range(len(a)))
    assert sorted([*rights, *(right for _, right in pairs)]) == list(range(len(b)))
    assert all(gap.left < gap.left_end or gap.right < gap.right_end for gap in between)


def test_a_gap_is_told_at_the_beginning_between_and_at_the_end() -> None:
    assert list(gaps([(1, 0), (2, 3)], 4, 4)) == [Gap(0, 1, 0, 0), Gap(2, 2, 1, 3), Gap(3, 4, 4, 4)]


def test_equal_items_get_equal_numbers_across_the_sequences() -> None:
    assert numbered("abc", ["c", "d"], [("a",)]) == [[0, 1, 2], [2, 3], [4]]


@given(sequences, sequences)
def test_anchors_lead_to_a_rising_list_of_equal_items_too(a: list[int], b: list[int]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alignment, "_CELLS", 9)
        pairs = common(a, b)
    assert rises(pairs)
    assert [a[left] for left, _ in pairs] == [b[right] for _, right in pairs]


def test_sequences_too_long_for_the_square_are_cut_at_what_stands_once() -> None:
    a = list(range(40_000))
    b = [item for item in a if item % 1000]
    b.insert(7, -1)
    assert len(common([-3, *a, -5], [-2, *b, -4])) == 40_000 - 40


def test_long_sequences_in_which_nothing_stands_once_are_let_go() -> None:
    random = Random(2)
    a: list[Any] = [random.randrange(3) for _ in range(15_000)]
    b = [random.randrange(3, 6) for _ in range(15_000)]
    assert common(a, b) == []
