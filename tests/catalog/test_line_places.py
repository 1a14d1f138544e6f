import pytest

from server.catalog import line_places
from server.catalog.line_places import by_address, by_frame, line_at
from server.tape.listing import Line

LINES = (Line("A", 10, 16, 0x100), Line("B", 26, 16, 0x110), Line("C", 42, 3, 0x200))


def test_a_place_is_in_the_last_line_that_begins_before_it():
    assert [line_at(by_frame(LINES), frame) for frame in (9, 10, 41, 42)] == [None, 1, 2, 3]
    assert [line_at(by_address(LINES), at) for at in (0xFF, 0x10F, 0x205)] == [None, 1, 3]
    assert line_at(by_frame(()), 5) is line_at(by_address(()), 5) is None


@pytest.mark.parametrize("most", [2, 3])
def test_what_lies_behind_a_listing_that_was_cut_is_in_no_line(monkeypatch, most):
    monkeypatch.setattr(line_places, "MOST_LINES", most)
    assert [line_at(by_frame(LINES), frame) for frame in (44, 45, 900)] == [3, None, None]
    assert [line_at(by_address(LINES), at) for at in (0x20F, 0x210, 0x900)] == [3, None, None]
