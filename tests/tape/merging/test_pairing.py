"""One reading laid on another: nothing lost, nothing dearer than it need be, the first place."""

from itertools import chain, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rapidfuzz.distance import Levenshtein

from server.tape.merging import pairing
from server.tape.merging.anchors import STRETCH, Lane, anchors, shared, stretches
from server.tape.merging.likelier import Change
from server.tape.merging.pairing import Pairing, pair
from tests.tape.merging.channel import Rates, read
from tests.tape.merging.tapes import code, text

few = st.lists(st.integers(0, 3), min_size=1, max_size=40).map(bytes)


def laid(base: bytes, other: bytes) -> Pairing:
    return pair(Lane(base), Lane(other))


def accounted(one: Pairing) -> bytes:
    """The other reading, put together from what the pairing says of each frame."""
    inside = [
        (int(at), one.other[at : at + 1])
        for at, missing in zip(one.at.tolist(), one.missing.tolist(), strict=True)
        if not missing
    ]
    added = [
        (at, one.other[at : at + 1])
        for each in one.indels
        for at in range(each.right, each.right_end)
    ]
    together = sorted([*inside, *added])
    assert [at for at, _ in together] == list(range(one.before, one.after))
    return (
        one.other[: one.before] + b"".join(frame for _, frame in together) + one.other[one.after :]
    )


@given(few, few)
def test_every_frame_of_both_readings_is_accounted_for_once(base: bytes, other: bytes) -> None:
    one = laid(base, other)
    assert accounted(one) == other
    assert one.at.size == one.missing.size == one.ends - one.begins
    assert all(left.left_end <= right.left for left, right in pairwise(one.indels))


@given(few, few)
def test_with_what_lies_outside_it_costs_at_least_the_distance(base: bytes, other: bytes) -> None:
    one = laid(base, other)
    outside = one.begins + len(base) - one.ends + one.before + len(other) - one.after
    assert one.cost + outside >= Levenshtein.distance(base, other)
    assert 0 <= one.likeness <= 1


@given(few)
def test_a_reading_laid_on_itself_costs_nothing(frames: bytes) -> None:
    one = laid(frames, bytes(bytearray(frames)))
    assert (one.cost, one.likeness, one.begins, one.ends) == (0, 1, 0, len(frames))


@given(st.integers(30, 90), st.integers(2, 9), st.booleans())
def test_a_frame_missing_or_added_in_a_row_is_always_the_first_of_it(
    at: int, row: int, doubled: bool
) -> None:
    frames = code(120)
    value = bytes([frames[at] ^ 0x55])
    base = frames[:at] + value * row + frames[at:]
    if base[at - 1] == value[0]:
        return
    other = frames[:at] + value * (row + 1 if doubled else row - 1) + frames[at:]
    assert laid(base, other).indels == (
        Change(at, at, at, at + 1) if doubled else Change(at, at + 1, at, at),
    )


def test_a_long_row_is_searched_in_steps() -> None:
    blank = bytes(1000)
    base, other = code(100) + blank + code(90, 2), code(100) + blank[:-1] + code(90, 2)
    (only,) = laid(base, other).indels
    assert (only.left, only.right) == (100, 100)


@pytest.mark.parametrize(("cut", "stop"), [(0, 900), (300, 1000), (250, 700)])
def test_a_reading_that_starts_late_or_stops_early_lacks_nothing(cut: int, stop: int) -> None:
    frames = code(1000)
    one = laid(frames, frames[cut:stop])
    assert (one.begins, one.ends, one.cost) == (cut, stop, 0)
    other_way = laid(frames[cut:stop], frames)
    assert (other_way.before, other_way.after, other_way.cost) == (cut, stop, 0)


def test_leaders_of_different_length_cost_nothing() -> None:
    frames = code(500)
    one = laid(bytes(70) + frames + bytes(20), bytes(40) + frames + bytes(90))
    assert one.cost == 0
    assert (one.begins, one.before) == (30, 0)
    assert (one.ends, one.after) == (590, 560)


def test_a_misread_leader_costs_what_was_misread() -> None:
    frames = code(500)
    leader = bytearray(60)
    leader[30] = 8
    assert laid(bytes(60) + frames, bytes(leader) + frames).cost == 1
    trailer = bytes(20) + b"\x04" + bytes(20)
    one = laid(frames + trailer + bytes(9), frames + trailer)
    assert (one.cost, one.ends) == (0, 541)


def test_a_long_stretch_that_is_lost_or_put_in_is_one_change() -> None:
    frames = code(20_000)
    one = laid(frames, frames[:5000] + frames[9000:])
    assert [(each.left_end - each.left) for each in one.indels] == [4000]
    one = laid(frames[:5000] + frames[9000:], frames)
    assert [(each.right_end - each.right) for each in one.indels] == [4000]


def test_a_gap_that_would_cost_too_much_faces_frame_by_frame(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(pairing, "AFFORDABLE", 100)
    a, b, foot = code(200, 1), code(220, 2), code(100, 3)
    one = laid(foot + a + foot[::-1], foot + b + foot[::-1])
    assert accounted(one) == one.other
    assert [each.right_end - each.right for each in one.indels] == [20]
    same = laid(foot + a + foot[::-1], foot + b[:200] + foot[::-1])
    assert same.indels == ()
    monkeypatch.setattr(pairing, "AFFORDABLE", 20_000)
    assert laid(foot + a, foot + a[:90] + b[:5] + a[95:]).cost <= 5


def test_two_readings_with_nothing_in_common_are_not_alike() -> None:
    one = laid(code(3000, 1), bytes(reversed(text(4000).frames)))
    assert one.likeness < 0.3
    assert shared(Lane(code(3000, 1)), Lane(text(4000).frames)) == 0
    assert shared(Lane(b"A"), Lane(b"A")) == 0


def test_stretches_stand_in_both_whatever_came_before() -> None:
    frames = code(20_000)
    (at, other), moved = anchors(Lane(frames), Lane(frames[777:])), 777
    assert at.size > 50
    assert np.all(at - other == moved)


def test_what_stands_twice_or_in_rows_is_no_anchor() -> None:
    once = code(40)
    assert stretches(bytes(200), 1).at.size == 0
    assert stretches(b"A" * (STRETCH - 1), 1).at.size == 0
    at, _ = anchors(Lane(once + once), Lane(once))
    assert at.size == 0


def test_anchors_rise_where_parts_changed_places() -> None:
    first, second = code(300, 1), code(200, 2)
    at, other = anchors(Lane(first + second), Lane(second + first))
    assert np.all(np.diff(at) > 0)
    assert np.all(np.diff(other) > 0)


def test_a_stray_anchor_is_left_out() -> None:
    # The same phrase, whole in the one reading here, and in the other there.
    phrase = code(STRETCH, 9)
    broken = bytes([phrase[0] ^ 1]) + phrase[1:]
    parts = [code(150, number) for number in range(3)]
    base = parts[0] + phrase + parts[1][:60] + broken + parts[2]
    other = parts[0] + broken + parts[1][:60] + phrase + parts[2]
    one = laid(base, other)
    assert one.cost == 2
    assert one.indels == ()


@pytest.mark.parametrize("seed", range(4))
def test_a_poor_reading_of_a_long_tape_costs_what_the_channel_did(seed: int) -> None:
    tape = text(12_000)
    other = read(tape, Rates(), np.random.default_rng(seed))
    exact = Levenshtein.distance(tape.frames, other.frames, score_hint=100)
    one = laid(tape.frames, other.frames)
    outside = one.begins + len(tape) - one.ends + one.before + len(other) - one.after
    assert exact <= one.cost + outside <= exact + 2
    assert accounted(one) == other.frames


def test_the_whole_is_the_sum_of_its_changes() -> None:
    one = laid(b"ABCDEFGHIJ", b"ABXDEGHIIJ")
    sizes = chain.from_iterable((each[1] - each[0], each[3] - each[2]) for each in one.indels)
    assert one.cost == one.flipped.size + sum(sizes) == 3
