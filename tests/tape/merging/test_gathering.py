"""Readings turned alike, and what is refused because it is of another tape."""

from itertools import product

import numpy as np
import pytest

from server.tape.errors import TapeError
from server.tape.image import Image, Orientation
from server.tape.merging import gathering
from server.tape.merging.anchors import Lane
from server.tape.merging.gathering import gather, turned_twice
from server.tape.merging.pairing import Pairing, pair
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


def test_a_reading_of_another_tape_is_named() -> None:
    images = readings(TAPE, 3)
    images.insert(1, Image(text(12_000).frames[9100:] + code(15_000)))
    with pytest.raises(TapeError, match="reading 2 does not fit the others: no stretch") as told:
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


def _own_pattern(seed: int, frames: int = 3000) -> Image:
    rng = np.random.default_rng(seed)
    pattern = rng.integers(1, 256, 150, np.uint8).tobytes()
    return Image((pattern * (frames // 150 + 1))[:frames])


def _counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Grows by one with each reading that is laid on another."""
    laid: list[int] = []

    def counting(base: Lane, other: Lane) -> Pairing:
        laid.append(len(other))
        return pair(base, other)

    monkeypatch.setattr(gathering, "pair", counting)
    return laid


def test_readings_that_share_nothing_are_refused_before_any_is_laid_on_another(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    laid = _counted(monkeypatch)
    rng = np.random.default_rng(4)
    noise = [Image(rng.integers(0, 256, 3000, np.uint8).tobytes()) for _ in range(6)]

    with pytest.raises(TapeError, match="no stretch of its frames is like any of theirs"):
        gather(noise)

    # Each base is laid on itself.
    assert len(laid) <= len(noise) // 2 + 1


def test_work_in_vain_comes_to_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    laid = _counted(monkeypatch)
    monkeypatch.setattr(gathering, "_MOST_IN_VAIN", 100_000_000)

    with pytest.raises(TapeError, match="does not fit the others: laid on them"):
        gather([_own_pattern(seed) for seed in range(10)])

    # Each try in vain is one in each of four ways, 9 million frames by frames apiece.
    assert len(laid) == 1 + 4 * 3


def test_a_reading_with_one_frame_in_five_wrong_is_no_stranger() -> None:
    other = readings(TAPE, 1, Rates(0.2, 0.001, 0.001))[0]

    assert gather([TAPE, other]).pairings[1].likeness > 0.75
