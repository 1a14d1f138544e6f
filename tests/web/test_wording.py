"""Values in words."""

import pytest

from server.web import wording
from server.web.estimates import estimates


@pytest.mark.parametrize(
    ("share", "words"), [(1.0, "100 %"), (0.99999, "99.9 %"), (0.986, "98.6 %"), (0.0, "0.0 %")]
)
def test_what_is_not_the_same_is_never_called_a_hundred_percent(share, words):
    assert wording.percent(share) == words


@pytest.mark.parametrize(
    ("bytes_", "words"),
    [(0, "0 bytes"), (999, "999 bytes"), (10_000_000, "10 MB"), (1500, "1.5 kB")],
)
def test_a_size_is_said_in_the_unit_that_reads_best(bytes_, words):
    assert wording.size(bytes_) == words


def test_things_are_counted_in_the_right_number():
    assert wording.count(1, "line holds", "lines hold") == "1 line holds"
    assert wording.count(2, "line") == "2 lines"


def test_a_row_of_a_form_is_counted_from_one():
    assert wording.field_name("defects.0.position_mm") == "defects 1 position mm"


@pytest.mark.parametrize("asked", ["fast", "0", "-3", "nan", "inf", "1e9", "5001"])
def test_a_rate_that_no_reader_has_is_refused_beside_its_field(asked):
    figures = estimates(1000, asked)

    assert figures.wrong
    assert [rate for rate, _ in figures.times] == [10, 70, 300, 450]


@pytest.mark.parametrize(("asked", "rate"), [("120", 120), ("7,5", 7.5), (" 30 ", 30)])
def test_any_other_rate_is_worked_out(asked, rate):
    assert estimates(1000, asked).times[-1] == (rate, 1000 / rate)


def test_an_eight_inch_roll_is_about_a_thousand_feet():
    """Common practice, no source: 1000 ft on a 2 in core is about 8 in across."""
    figures = estimates(120_000)

    assert figures.length_mm == 304_800
    assert 200 < figures.roll_mm < 207


def test_an_entry_of_a_queue_goes_by_its_number_or_the_first_digits_of_its_images():
    assert wording.entry_name("1979.12.b") == "1979.12.b"
    assert wording.entry_name("ab" * 32) == "abababababab"
    assert wording.entry_name(f"{'ab' * 32}-{'cd' * 32}") == "abababababab and cdcdcdcdcdcd"
