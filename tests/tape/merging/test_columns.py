"""Readings under each other: every vote in its column."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.tape.merging.anchors import Lane
from server.tape.merging.columns import BEYOND, MISSING, Columns, columns
from server.tape.merging.pairing import pair

few = st.lists(st.integers(0, 3), min_size=1, max_size=30).map(bytes)


def table(base: bytes, *others: bytes) -> Columns:
    return columns([pair(Lane(base), Lane(each)) for each in others])


def test_a_frame_lost_leaves_a_gap_and_a_frame_doubled_a_column_of_its_own() -> None:
    found = table(b"ABCDEF", b"ABCDEF", b"ABDEF", b"ABCDDEF")
    assert found.votes.tolist() == [
        [*b"ABC", MISSING, *b"DEF"],
        [*b"AB", MISSING, MISSING, *b"DEF"],
        [*b"ABCD", *b"DEF"],
    ]
    assert found.places[1].tolist() == [0, 1, 2, 2, 2, 3, 4]
    assert found.places[0].tolist() == [0, 1, 2, 3, 3, 4, 5]
    assert found.disputed.tolist() == [2, 3]
    assert found.held == b"ABCDEF"


def test_frames_that_two_readings_add_stand_from_the_first_column_on() -> None:
    found = table(b"ABCDEF", b"ABxyzCDEF", b"ABxCDEF")
    assert found.votes[:, 2:5].tolist() == [[*b"xyz"], [*b"x", MISSING, MISSING]]
    assert found.places[1, 2:6].tolist() == [2, 3, 3, 3]


def test_a_reading_votes_only_where_it_reaches() -> None:
    found = table(b"ABCDEFGH", b"CDEFGH", b"ABCDEF")
    assert found.votes[0].tolist() == [BEYOND, BEYOND, *b"CDEFGH"]
    assert found.reached.tolist() == [6, 6]
    assert found.disputed.size == 0


def test_a_reading_that_faces_nothing_has_no_vote() -> None:
    found = table(b"A", b"A", b"B" * 9)
    assert found.held[:1] in {b"A", b"B"}


@given(few, st.lists(few, min_size=1, max_size=4))
def test_every_frame_within_reach_stands_once_and_in_order(
    base: bytes, others: list[bytes]
) -> None:
    pairings = [pair(Lane(base), Lane(each)) for each in others]
    found = columns(pairings)
    for row, places, one in zip(found.votes, found.places, pairings, strict=True):
        standing = np.flatnonzero(row >= 0)
        assert bytes(row[standing].tolist()) == one.other[one.before : one.after]
        assert places[standing].tolist() == list(range(one.before, one.after))
