"""Rows of a comparison: folded, and all that differs kept."""

from hypothesis import given
from hypothesis import strategies as st

from server.tape.listing import Line
from server.tape.listing_diff import RowKind, align
from server.web.compared import CONTEXT, shown

TEXTS = st.lists(st.sampled_from(["A=1", "B=2", "PRINT C", "END"]), max_size=40)


def lines(texts):
    return [Line(text, 10 * at, 8) for at, text in enumerate(texts)]


def test_equal_lines_far_from_a_difference_are_folded():
    left = lines(f"LET A{n}={n}" for n in range(40))
    right = [*left[:20], Line("PRINT 1", 999, 7), *left[20:]]
    rows = shown(align(left, right, language=None), left, right, everything=False)

    assert [row.folded for row in rows if row.folded] == [20 - CONTEXT, 20 - CONTEXT]
    assert [row.right.text for row in rows if row.kind is RowKind.ADDED and row.right] == [
        "PRINT 1"
    ]
    assert len(rows) == 2 + 2 * CONTEXT + 1


@given(TEXTS, TEXTS)
def test_folding_hides_equal_rows_and_no_others(one, other):
    left, right = lines(one), lines(other)
    rows = align(left, right, language=None)
    everything = shown(rows, left, right, everything=True)
    folded = shown(rows, left, right, everything=False)

    assert sum(row.folded or 1 for row in folded) == len(everything)
    assert [row for row in folded if row.kind is not RowKind.EQUAL] == [
        row for row in everything if row.kind is not RowKind.EQUAL
    ]
