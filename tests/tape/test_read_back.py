"""A punched tape, read back: the same wherever the reading began, or located frame by frame."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.tape.holes import channels
from server.tape.image import Image, Orientation, Span
from server.tape.read_back import (
    MOST_KEPT,
    MOST_PLACES,
    ChannelFault,
    Comparison,
    End,
    Kind,
    compare,
)
from tests import factories
from tests.outside.test_edit_distance_definition import by_definition

LEADER, TRAILER = 60, 40
LETTERS = bytes.fromhex("7E09090E00 7F4949 4100 46494931")
"""Columns of lettering; what they spell does not matter here."""

CONTENT = factories.text_tape(leader=0)
PREPARED = bytes(LEADER) + LETTERS + bytes(12) + CONTENT + bytes(TRAILER)
DATA = Span(LEADER + len(LETTERS) + 12, LEADER + len(LETTERS) + 12 + len(CONTENT))
TAPE = Image(PREPARED, 8)


def against(read: bytes, prepared: Image = TAPE, data: Span = DATA) -> Comparison:
    return compare(prepared, data, read)


def located(found: Comparison) -> list[tuple[Kind, int, int, int]]:
    return [(each.kind, each.frame, each.read_frame, each.frames) for each in found.places]


def test_the_very_frames_are_the_same():
    found = against(PREPARED)

    assert (found.same, found.differing, found.places) == (True, 0, ())
    assert found.leader == End(DATA.start, DATA.start, 0)
    assert found.trailer == End(TRAILER, TRAILER, 0)
    assert found.compared == len(PREPARED)


@pytest.mark.parametrize("more", [-59, -1, 0, 1, 500])
@pytest.mark.parametrize("behind", [-39, -1, 0, 1, 500])
def test_leader_and_trailer_may_be_read_longer_or_shorter(more, behind):
    read = bytes(LEADER + more) + PREPARED[LEADER : len(PREPARED) - TRAILER]
    found = against(read + bytes(TRAILER + behind))

    assert found.same
    assert found.leader == End(DATA.start, DATA.start + min(more, 0), max(more, 0))
    assert found.trailer == End(TRAILER, TRAILER + min(behind, 0), max(behind, 0))


@pytest.mark.parametrize("start", [LEADER + 3, LEADER + len(LETTERS), DATA.start - 1, DATA.start])
def test_a_reading_may_begin_anywhere_in_the_leader_even_among_its_letters(start):
    found = against(PREPARED[start:])

    assert found.same
    assert found.leader.read == DATA.start - start
    assert found.compared == len(PREPARED) - start


def test_a_leader_of_a_pattern_may_follow_blank_tape():
    tape = Image(b"\xff" * 30 + CONTENT + bytes(30), 8)
    data = Span(30, 30 + len(CONTENT))

    assert against(bytes(25) + tape.frames, tape, data).leader == End(30, 30, 25)
    assert against(bytes(25) + tape.frames, tape, data).same
    assert not against(b"\x55" * 25 + tape.frames, tape, data).same


@pytest.mark.parametrize("way", Orientation)
def test_a_tape_may_lie_any_way_in_the_reader(way):
    found = against(Image(PREPARED, 8).turned(way).frames)

    assert (found.same, found.orientation) == (True, way)


@pytest.mark.parametrize("start", [DATA.start + 1, DATA.start + 40])
def test_a_reading_that_begins_in_the_content_lacks_its_first_frames(start):
    found = against(PREPARED[start:])

    assert not found.same
    assert found.differing == start - DATA.start
    assert sum(each.frames for each in found.places) == found.differing
    assert {each.kind for each in found.places} == {Kind.MISSING}
    assert found.places[0].frame >= DATA.start


def test_a_frame_with_another_hole_is_found_with_its_holes():
    at = DATA.start + 33
    found = against(factories.damaged(PREPARED, at, channel=3))

    (place,) = found.places
    assert located(found) == [(Kind.CHANGED, at, at, 1)]
    assert set(channels(place.prepared[0])) ^ set(channels(place.read[0])) == {3}
    assert found.channels in ((ChannelFault(3, 1, 0),), (ChannelFault(3, 0, 1),))


def test_a_letter_that_was_read_wider_is_no_longer_leader():
    at = LEADER + LETTERS.index(b"\x09\x09")
    found = against(PREPARED[at : at + 1] + PREPARED[at:])

    assert not found.same
    assert found.differing == 1


def test_damaged_letters_in_the_leader_are_found_too():
    found = against(factories.damaged(PREPARED, LEADER + 2, channel=1))

    assert located(found) == [(Kind.CHANGED, LEADER + 2, LEADER + 2, 1)]


def test_a_frame_too_many_and_one_too_few_are_placed_in_a_longer_leader():
    at, later = DATA.start + 20, DATA.start + 60
    read = bytes(7) + PREPARED[:at] + b"\x99" + PREPARED[at:later] + PREPARED[later + 1 :]
    found = against(read)

    assert found.differing == 2
    assert found.leader == End(DATA.start, DATA.start, 7)
    extra, missing = found.places
    assert (extra.kind, extra.frame, extra.read_frame) == (Kind.EXTRA, at, at + 7)
    assert (extra.prepared, extra.read) == (b"", b"\x99")
    assert (missing.kind, missing.prepared) == (Kind.MISSING, PREPARED[later : later + 1])
    assert missing.read_frame == later + 8


def test_places_of_a_reversed_reading_are_counted_as_it_was_read():
    at = DATA.start + 33
    read = factories.damaged(PREPARED, at)[::-1]
    found = against(read)

    (place,) = found.places
    assert found.orientation is Orientation.REVERSED
    assert (place.frame, place.read_frame) == (at, len(PREPARED) - 1 - at)
    assert read[place.read_frame] == place.read[0]


def test_a_channel_that_never_punches_is_told_as_one_fault_of_many_frames():
    found = against(bytes(each & ~0b100 for each in PREPARED))
    lacking = sum(1 for each in PREPARED if each & 0b100)

    assert found.channels == (ChannelFault(3, lacking, 0),)
    assert found.differing == lacking
    assert {each.kind for each in found.places} == {Kind.CHANGED}


def test_the_list_of_places_and_what_is_kept_of_one_are_bounded():
    read = bytearray(PREPARED)
    for at in range(DATA.start, DATA.stop, 2):
        read[at] ^= 0b100
    many = against(bytes(read))
    gap = against(PREPARED[: DATA.start + 10] + PREPARED[DATA.start + 60 :])

    assert len(many.places) == MOST_PLACES < many.total == many.differing
    assert sum(each.frames for each in gap.places) == 50
    assert all(len(each.prepared) <= MOST_KEPT for each in gap.places)


def test_another_tape_altogether_is_not_the_same_and_small_enough_to_say_why():
    found = against(factories.hex_tape())

    assert not found.same
    assert found.differing is not None
    assert found.differing > 100


def test_long_tapes_without_anything_in_common_are_not_measured():
    long = Image(bytes(20) + b"AB" * 90_000 + bytes(20), 8)
    found = compare(long, Span(20, 180_020), b"\x0e\x19\x0f" * 60_000)

    assert (found.same, found.differing, found.places) == (False, None, ())


def test_holes_that_no_such_tape_has_are_found_and_not_refused():
    narrow = Image(bytes(30) + bytes([1, 2, 3, 4, 21, 9, 17, 30, 5] * 5) + bytes(30), 5)
    read = bytearray(narrow.frames)
    read[44] |= 0x80
    found = compare(narrow, Span(30, 75), bytes(read))

    assert located(found) == [(Kind.CHANGED, 44, 44, 1)]
    assert found.channels == (ChannelFault(8, 0, 1),)


def test_blank_tape_is_not_a_copy_of_anything():
    found = against(bytes(200))

    assert not found.same
    assert found.differing is not None
    assert found.differing >= len(CONTENT)


def test_content_that_begins_as_the_leader_does_is_not_taken_for_leader():
    tape = Image(bytes(20) + b"\0\0\0" + CONTENT + bytes(20), 8)
    data = Span(20, 23 + len(CONTENT))

    assert compare(tape, data, tape.frames).same
    assert compare(tape, data, tape.frames[20:]).leader == End(20, 0, 0)
    assert not compare(tape, data, tape.frames[22:]).same


@settings(deadline=None)  # the definition, cell by cell, is slow
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["flip", "drop", "double"]),
            st.integers(DATA.start + 24, DATA.stop - 25),
            st.integers(0, 7),
        ),
        max_size=6,
        unique_by=lambda each: each[1],
    ),
    st.integers(0, 30),
)
def test_what_differs_is_as_little_as_can_be_and_no_more_than_was_done(faults, later):
    """A channel of errors made up here, against the definition of the distance."""
    read = bytearray(PREPARED)
    for kind, at, bit in sorted(faults, key=lambda each: -each[1]):
        if kind == "flip":
            read[at] ^= 1 << bit
        elif kind == "drop":
            del read[at]
        else:
            read.insert(at, read[at])
    found = against(bytes(read)[later:])

    assert found.differing == by_definition(PREPARED[later:], bytes(read)[later:])
    assert found.differing <= len(faults)
    assert found.same is (found.differing == 0)
    assert not found.same or CONTENT in read
    assert sum(each.frames for each in found.places) == found.differing
    for place in found.places:
        stop = place.frame + len(place.prepared)
        assert PREPARED[place.frame : stop] == place.prepared
