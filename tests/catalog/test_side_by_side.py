"""Rows of a comparison: folded, and all that differs kept."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.side_by_side import (
    CONTEXT,
    LONGEST_LINE,
    MOST_CHARACTERS,
    MOST_LINES,
    ROWS_A_PAGE,
    Shown,
    compared,
    first_lines,
    left_out,
    page_of,
    shown,
    tally,
    worded,
)
from server.tape.listing import Line
from server.tape.listing_diff import RowKind, align

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


@given(TEXTS, TEXTS)
def test_the_pieces_of_what_changed_make_up_both_lines(one, other):
    left, right = lines(one), lines(other)
    rows = shown(align(left, right, language=None), left, right, everything=True)
    for row, told in zip(rows, worded(rows, None), strict=True):
        sides = [side for side in (told.left, told.right) if side]
        if row.kind is RowKind.CHANGED:
            assert ["".join(piece.text for piece in side.pieces) for side in sides] == [
                side.text for side in sides
            ]
            assert any(piece.kind != "equal" for side in sides for piece in side.pieces)
        else:
            assert told == row


def test_lines_that_differ_in_a_row_are_one_difference():
    left, right = lines(["A=1", "B=2", "END"]), lines(["A=1", "B=3", "C=4", "END", "STOP"])
    rows = shown(align(left, right, language=None), left, right, everything=True)

    assert list(first_lines(rows)) == [1, 4]
    assert tally(align(left, right, language=None)) == {"equal": 2, "changed": 1, "added": 2}


def test_all_lines_of_a_full_roll_are_compared():
    roll = lines(["0100" + 69 * "."] * 7500)

    assert compared(roll) == tuple(roll)
    assert left_out(roll, roll, (7500, 7500)) == ""


@pytest.mark.parametrize(
    ("listing", "kept"),
    [
        (lines(["A"]) * (MOST_LINES + 1), MOST_LINES),
        (lines(["A" * 3000]) * 1000, MOST_CHARACTERS // 3000),
    ],
)
def test_only_the_first_lines_of_a_huge_listing_are_compared_and_it_is_said(listing, kept):
    first = compared(listing)

    assert first == tuple(listing[:kept])
    assert f"Only the first {kept} lines of the left" in left_out(first, (), (len(listing), 0))


def test_only_the_beginning_of_an_overlong_line_is_compared_and_it_is_said():
    (line,) = compared(lines(["AB" * LONGEST_LINE]))

    assert len(line.text) == LONGEST_LINE
    assert f"the first {LONGEST_LINE} characters" in left_out((line,), (line,), (1, 1))


@pytest.mark.parametrize(("asked", "page", "count"), [(-1, 1, 1000), (2, 2, 1), (9, 2, 1)])
def test_rows_are_shown_page_by_page(asked, page, count):
    part = page_of([Shown(RowKind.EQUAL)] * (ROWS_A_PAGE + 1), asked)

    assert (part.page, part.pages, len(part.rows)) == (page, 2, count)


def test_two_listings_without_lines_are_one_empty_page():
    assert (page_of([], 1).pages, page_of([], 1).rows) == (1, ())
