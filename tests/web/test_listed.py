"""Lines of a listing for a page."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.findings import Finding, Severity
from server.tape.listing import Line
from server.web.listed import (
    LINES_A_PAGE,
    by_line,
    excerpt,
    last_page,
    lines_of_page,
    listing_page,
    marked,
    matches,
    page_of_line,
)

LINES = [Line(f"{n}0 PRINT {n}", 10 * n, 8) for n in range(1, 6)]


def finding(frame, frames=1):
    return Finding("parity-error", Severity.DAMAGE, frame, frames, "said", "done")


@pytest.mark.parametrize(
    ("frame", "frames", "touched"),
    [(20, 1, [1]), (27, 1, [1]), (28, 1, []), (28, 3, [2]), (0, 5, []), (0, 99, [0, 1, 2, 3, 4])],
)
def test_a_finding_stands_in_each_line_that_it_touches(frame, frames, touched):
    assert sorted(by_line(LINES, [finding(frame, frames)])) == touched


def test_a_tape_read_from_its_end_has_its_findings_in_the_right_lines():
    backwards = [line._replace(frame=100 - line.frame) for line in LINES]

    assert sorted(by_line(backwards, [finding(91)])) == [0]


def test_no_lines_carry_no_findings():
    assert by_line([], [finding(3)]) == {}


@pytest.mark.parametrize(
    ("text", "run", "pieces"),
    [
        ("A RND(1) rnd", "Rnd", [("A ", False), ("RND", True), ("(1) ", False), ("rnd", True)]),
        ("RND", "rnd", [("RND", True)]),
        ("NONE", "rnd", [("NONE", False)]),
        ("ANY", "", [("ANY", False)]),
        ("AAA", "AA", [("AA", True), ("A", False)]),
    ],
)
def test_a_run_is_marked_wherever_it_stands(text, run, pieces):
    assert [(piece.text, piece.is_run) for piece in marked(text, run)] == pieces


@given(st.text(max_size=60), st.text(max_size=5))
def test_pieces_join_to_a_text_of_the_same_length_whatever_it_holds(text, run):
    from server.store.search import readable

    assert "".join(piece.text for piece in marked(text, run)) == readable(text)


def test_control_characters_are_shown_as_signs():
    line = excerpt([Line("A\x07B\tC\x7f", 0, 6)], ())[0]

    assert line.text == "A\N{SYMBOL FOR BELL}B\tC\N{SYMBOL FOR DELETE}"


def test_lines_keep_their_numbers_on_every_page():
    page = listing_page([Line("X", 0, 1)], (), page=2, total=LINES_A_PAGE + 1)

    assert page.pages == 2
    assert [line.number for bundle in page.bundles for line in bundle] == [LINES_A_PAGE + 1]


@pytest.mark.parametrize(("total", "pages"), [(0, 1), (LINES_A_PAGE, 1), (LINES_A_PAGE + 1, 2)])
def test_a_listing_takes_as_many_pages_as_its_lines_need(total, pages):
    assert last_page(total) == pages


@pytest.mark.parametrize("line", [1, LINES_A_PAGE, LINES_A_PAGE + 1, 3 * LINES_A_PAGE])
def test_a_line_is_among_those_of_its_page(line):
    start, stop = lines_of_page(page_of_line(line))

    assert start < line <= stop


@pytest.mark.parametrize(("line", "page"), [(1, 1), (LINES_A_PAGE, 1), (LINES_A_PAGE + 1, 2)])
def test_the_page_of_a_line(line, page):
    assert page_of_line(line) == page


def test_matches_are_counted_in_the_whole_listing():
    assert matches(LINES, "print 4") == (4,)
