"""Two passes become one where the tape was fed again from a little before the stop."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.station.joining import NEAR, STRETCH, join
from tests.station.reels import LEADER, TRAILER, content, tape

FRAMES = tape(4000)


@settings(max_examples=150)
@given(
    stopped=st.integers(200, 4000),
    back=st.integers(4 * STRETCH, 1500),
    end=st.integers(0, len(FRAMES)),
)
def test_two_passes_of_a_tape_that_overlap_give_the_tape(stopped, back, end):
    start = max(0, stopped - back)
    end = max(end, stopped)
    joined = join(FRAMES[:stopped], FRAMES[start:end])
    if stopped - max(start, len(LEADER)) < 3 * STRETCH:
        return

    assert joined is not None
    assert joined.frames == FRAMES[:end]
    assert (joined.start, joined.overlap, joined.added) == (start, stopped - start, end - stopped)
    assert joined.differing == ()


def test_a_tape_fed_again_from_the_very_start_with_more_leader_overlaps_as_a_whole():
    joined = join(FRAMES[:1000], bytes(300) + FRAMES)

    assert joined is not None
    assert (joined.start, joined.overlap) == (-300, 1000)
    assert joined.frames == FRAMES


def test_a_pass_that_ends_before_the_first_one_did_adds_nothing():
    joined = join(FRAMES[:1000], FRAMES[500:900])

    assert joined is not None
    assert (joined.frames, joined.added) == (FRAMES[:1000], 0)


def test_frames_that_the_jam_spoiled_are_named_and_the_first_pass_holds():
    spoiled = FRAMES[:998] + bytes([FRAMES[998] ^ 1, FRAMES[999] ^ 2])
    joined = join(spoiled, FRAMES[800:])

    assert joined is not None
    assert joined.differing == (998, 999)
    assert joined.frames == spoiled + FRAMES[1000:]


def test_passes_without_overlap_are_not_joined():
    assert join(FRAMES[:1000], FRAMES[1000:]) is None
    assert join(FRAMES[:1000], FRAMES[1000 - STRETCH // 2 :]) is None


def test_blank_leader_is_no_overlap():
    assert join(bytes(300), bytes(100) + content(200)) is None


@pytest.mark.parametrize("lost", [-1, 1])
def test_a_frame_lost_or_doubled_inside_the_overlap_leaves_the_passes_apart(lost):
    again = bytearray(FRAMES[600:])
    if lost > 0:
        del again[150]
    else:
        again.insert(150, again[150])

    assert join(FRAMES[:1000], bytes(again)) is None


def test_an_overlap_that_fits_in_several_places_is_left_to_whoever_fed_the_tape():
    rng = random.Random(8)
    verse = bytes(rng.randrange(1, 256) for _ in range(150))
    song = content(60) + verse * 6 + TRAILER
    held, again = song[: 60 + 4 * 150], song[60 + 3 * 150 :]

    assert join(held, again) is None
    for near in (510, 510 - 60, 510 + 60):
        joined = join(held, again, near)
        assert joined is not None
        assert joined.frames == song
    assert join(held, again, near=510 + NEAR + 200) is None


def test_rubbish_does_not_join():
    rng = random.Random(1)
    rubbish = bytes(rng.randrange(256) for _ in range(3000))

    assert join(FRAMES[:1000], rubbish) is None
    assert join(FRAMES[:1000], b"") is None
    assert join(b"", rubbish) is None
