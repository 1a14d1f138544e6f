"""Readings turned alike, and what is refused because it is of another tape."""

from itertools import product

import pytest

from server.tape.errors import TapeError
from server.tape.image import Image, Orientation
from server.tape.merging.gathering import gather, turned_twice
from tests.tape.merging.channel import POOR, Rates, readings
from tests.tape.merging.tapes import CHECKSUMMED, code, text

TAPE = text(9000)


@pytest.mark.parametrize(("first", "then"), list(product(Orientation, Orientation)))
def test_turning_twice_is_turning_by_both(first: Orientation, then: Orientation) -> None:
    image = Image(b"\x01\x02\x70")
    assert image.turned(first).turned(then) == image.turned(turned_twice(first, then))


@pytest.mark.parametrize("way", Orientation)
def test_a_reading_that_lay_otherwise_is_turned(way: Orientation) -> None:
    one, two, three = readings(TAPE, 3)
    gathered = gather([one, two.turned(way), three])
    assert turned_twice(gathered.turns[1], gathered.turns[0]) == way
    assert gathered.turns[0] == gathered.turns[2]
    assert all(each.likeness > 0.98 for each in gathered.pairings)


@pytest.mark.parametrize("way", Orientation)
def test_a_short_and_wretched_reading_is_turned_by_trying(way: Orientation) -> None:
    short = Image(TAPE.frames[500:800])
    other = readings(short, 1, Rates(0.2, 0.01, 0.01))[0].turned(way)
    gathered = gather([short, other])
    assert turned_twice(gathered.turns[1], gathered.turns[0]) == way


def test_readings_that_only_overlap_are_joined() -> None:
    frames = TAPE.frames
    parts = [frames[3000:7000], frames[:3600], frames[6500:], frames[200:800]]
    gathered = gather([Image(part) for part in parts])
    assert {each.base for each in gathered.pairings} == {frames}
    assert [each.begins for each in gathered.pairings] == [3000, 0, 6500, 200]


def test_a_reading_of_another_tape_is_named_with_how_alike_it_is() -> None:
    images = readings(TAPE, 3)
    images.insert(1, Image(text(12_000).frames[9100:] + code(15_000)))
    with pytest.raises(TapeError, match=r"reading 2 does not fit the others.* \d+% of its") as told:
        gather(images)
    assert "another tape" in told.value.mend


def test_two_tapes_in_two_readings_fit_neither() -> None:
    with pytest.raises(TapeError, match="does not fit the others"):
        gather([TAPE, CHECKSUMMED["intel-hex"](9000)])


def test_several_that_do_not_fit_are_all_named() -> None:
    images = [*readings(TAPE, 4), Image(code(9000, 5)), Image(code(8000, 6))]
    with pytest.raises(TapeError, match=r"; nor does reading [56]$"):
        gather(images)
    with pytest.raises(TapeError, match=r"; nor do readings [5-9] and [5-9]$"):
        gather([*images, *readings(TAPE, 2, POOR, 3), Image(code(7000, 8))])


def test_a_few_frames_in_common_are_no_fit() -> None:
    frames = TAPE.frames
    with pytest.raises(TapeError, match="0% of its frames"):
        gather([Image(frames[100:2000]), Image(frames[1960:4000])])
