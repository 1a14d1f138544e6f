"""Values in words, the same at every door."""

import pytest

from server.delivery import words as in_words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.04, "0.0 s"),
        (59.94, "59.9 s"),
        (61, "1 min 1 s"),
        (3599, "59 min 59 s"),
        (12000, "3 h 20 min"),
    ],
)
def test_a_time_is_said_as_at_the_reader(seconds, words):
    assert in_words.duration(seconds) == words


@pytest.mark.parametrize(
    ("millimetres", "metric", "imperial"),
    [
        (2.54, "2.54 mm", "0.1 in"),
        (304_800, "304.80 m", "1,000.0 ft"),
        (254, "254.00 mm", "10.0 in"),
    ],
)
def test_a_length_is_said_in_both_systems(millimetres, metric, imperial):
    assert (in_words.metres(millimetres), in_words.feet(millimetres)) == (metric, imperial)


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("intel-hex", "Intel hexadecimal"),
        ("bootstrap+checksum-block", "First stage, then Checksum-loader blocks, 8080 family"),
        ("of another release", "of another release"),
    ],
)
def test_a_format_is_called_by_its_title(name, title):
    assert in_words.title_of(name) == title
