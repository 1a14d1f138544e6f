"""Frames as people read them; patterns from ECMA-6 and ECMA-10: even parity in channel 8."""

import pytest

from server.tape.holes import channels, character, holes


@pytest.mark.parametrize(
    ("frame", "levels", "drawn"),
    [(0x00, 8, "..... ..."), (0x41, 8, ".o... ..o"), (0xB1, 8, "o.oo. ..o"), (0x15, 5, "o. o.o")],
)
def test_a_frame_is_drawn_across_the_tape_with_a_gap_for_the_feed_hole(frame, levels, drawn):
    assert holes(frame, levels) == drawn


@pytest.mark.parametrize(("frame", "punched"), [(0, ()), (0x41, (1, 7)), (0xB1, (1, 5, 6, 8))])
def test_the_channels_of_a_frame_are_told_by_their_numbers(frame, punched):
    assert channels(frame) == punched


@pytest.mark.parametrize(
    ("frame", "name"),
    [(0x41, "A"), (0xB1, "1"), (0x8D, "CR"), (0x0A, "LF"), (0xA0, "SP"), (0, "blank"),
     (0xFF, "rub-out")],
)  # fmt: skip
def test_a_frame_is_named_by_its_character(frame, name):
    assert character(frame, "iso-646", 8) == name


def test_a_frame_of_five_levels_is_named_by_its_letter():
    # 00001 is E and 10000 is T in ITA2 (ITU-T S.1), channel 1 on the right.
    assert [character(frame, "ita2", 5) for frame in (0b00001, 0b10000)] == ["E", "T"]


def test_without_a_code_there_is_no_character():
    assert character(0x41, None, 8) == ""
    assert character(0x41, "a code of later", 8) == ""
