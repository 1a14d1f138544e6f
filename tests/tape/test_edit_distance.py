from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape import edit_distance
from server.tape.edit_distance import affordable, at_least, counts, distance

words = st.text("AB\n", max_size=40)


@given(words, words)
def test_what_is_quick_to_find_is_never_more_than_the_distance(a: str, b: str) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(edit_distance, "_PROFILED", 1)
        exact = distance(a, b, 100)
        assert exact is not None
        assert at_least(a, b) <= exact


@given(words, words, st.integers(0, 40))
def test_a_cut_off_hides_what_lies_beyond_it_and_alters_nothing(a: str, b: str, most: int) -> None:
    exact = distance(a, b, 100)
    assert exact is not None
    assert distance(a, b, most) == (exact if exact <= most else None)


@given(st.binary(max_size=40), st.binary(max_size=40))
def test_the_edits_counted_are_as_many_as_the_distance(a: bytes, b: bytes) -> None:
    exact = distance(a, b, 100)
    assert exact is not None
    put_in, taken_out, replaced = counts(a, b, exact)
    assert put_in + taken_out + replaced == exact
    assert put_in - taken_out == len(b) - len(a)


def test_characters_beyond_latin_letters_are_no_obstacle() -> None:
    assert distance("é→" * 3000, "é→" * 3000 + "→", 5) == 1


def test_unrelated_images_of_ten_megabytes_are_told_apart() -> None:
    random = Random(1)
    a, b = random.randbytes(10_000_000), random.randbytes(10_000_000)
    assert distance(a, b, 4_000_000) is None


def test_a_frame_lost_in_ten_megabytes_is_found() -> None:
    a = Random(1).randbytes(10_000_000)
    assert distance(a, a[:4_000_000] + a[4_000_001:], 4_000_000) == 1


def test_the_longer_the_text_the_smaller_the_distance_worth_finding() -> None:
    assert affordable(120_000) == 48_000
    assert affordable(10_000_000) == 576
    assert affordable(0) > 0
