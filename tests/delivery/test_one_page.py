"""Whether a sheet fits: what the browser tests cannot try is tried here, without a browser."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.delivery.one_page import lines_of


@pytest.mark.parametrize(
    ("text", "width", "lines"),
    [
        ("", 10, 1),
        ("Go on", 10, 1),
        ("Go on Go on Go on", 6, 3),
        ("n" * 100, 6.4, 10),
        ("a " + "n" * 20, 6.4, 3),
    ],
)
def test_a_text_is_broken_between_words_and_within_those_that_are_too_long(text, width, lines):
    assert lines_of(text, width) == pytest.approx(lines, abs=1)


@given(st.text(max_size=200), st.text(max_size=50), st.floats(4, 60))
def test_more_text_never_takes_fewer_lines(text, more, width):
    assert lines_of(text + more, width) >= lines_of(text, width)


@given(st.text(alphabet="MWil ,.", max_size=200), st.floats(4, 30), st.floats(0, 30))
def test_a_wider_column_never_takes_more_lines(text, width, wider):
    assert lines_of(text, width + wider) <= lines_of(text, width)
