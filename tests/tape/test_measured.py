from hypothesis import given
from hypothesis import strategies as st

from server.tape.estimate import length_mm
from server.tape.measured import length_difference, tolerance_m, width_difference

FRAMES = 12_000
"""A hundred feet: 30.48 m."""


def test_length_that_fits_its_image_says_nothing():
    assert length_difference(30.48, FRAMES) == ""
    assert length_difference(31.0, FRAMES) == ""


def test_longer_tape_than_its_image_asks_whether_all_of_it_was_read():
    told = length_difference(32.0, FRAMES)

    assert "measures 32.00 m and its image gives 30.48 m, 1.52 m less" in told
    assert "up to 0.61 m would be usual" in told
    assert "read to its end" in told


def test_shorter_tape_than_its_image_asks_whether_it_is_of_this_tape():
    assert "1.48 m more" in length_difference(29.0, FRAMES)
    assert "another tape" in length_difference(29.0, FRAMES)


def test_short_tape_may_differ_by_a_cut_end():
    assert length_difference(1.25, 400) == ""
    assert length_difference(1.35, 400) != ""


@given(st.integers(1, 500_000), st.floats(-1, 1))
def test_difference_is_told_just_where_it_is_over_the_tolerance(frames: int, part: float):
    decoded = length_mm(frames) / 1000
    allowed = tolerance_m(decoded)

    assert length_difference(decoded + 0.999 * part * allowed, frames) == ""
    assert length_difference(decoded + 1.001 * allowed, frames) != ""


def test_width_is_held_against_that_of_its_levels():
    """Widths: ECMA-10 for 8 levels; see `server.tape.dimensions` for the others."""
    assert width_difference(25.4, 8) == ""
    assert width_difference(17.5, 5) == ""
    assert "17.5 mm wide; one of 8 levels has 25.40 mm" in width_difference(17.5, 8)
