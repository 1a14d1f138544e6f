import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild
from tests.tape.drawing import listing_text

CODE = CODES["iso-646"]
BYTES = st.binary(max_size=400)


def read(frames, levels=8):
    return CODE.read(np.frombuffer(frames, np.uint8), levels)


@given(listing_text(), st.sampled_from(Parity))
def test_characters_written_are_read_again(text, parity):
    assert read(CODE.write(text, parity)).text == text


@given(listing_text(), st.sampled_from([Parity.EVEN, Parity.ODD, Parity.MARK]))
def test_the_parity_that_most_frames_obey_is_chosen(text, parity):
    both_kinds = text + b"ABCDEFGHIJ"

    assert read(CODE.write(both_kinds, parity)).parity is parity


def test_an_unpunched_channel_is_called_space_parity_on_eight_levels_and_none_on_seven():
    frames = CODE.write(b"10 PRINT A\r\n", Parity.SPACE)

    assert read(frames).parity is Parity.SPACE
    assert read(frames, levels=7).parity is Parity.NONE


def test_a_channel_that_obeys_no_rule_is_no_parity():
    frames = bytearray(CODE.write(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ" * 4, Parity.SPACE))
    for at in range(0, len(frames), 3):
        frames[at] |= 0x80

    found = read(bytes(frames))

    assert (found.parity, found.parity_errors.size) == (Parity.NONE, 0)


def test_each_frame_that_breaks_the_rule_is_named():
    frames = bytearray(CODE.write(b'10 PRINT "TIDE"\r\n' * 3, Parity.EVEN))
    for at in (4, 30):
        frames[at] ^= 0x10

    assert read(bytes(frames)).parity_errors.tolist() == [4, 30]


def test_fill_and_rub_outs_are_left_out_and_the_rub_outs_inside_are_counted():
    frames = bytes(3) + b"A" + b"\xff\xff\x00" + b"B" + b"\xff"

    found = read(frames)

    assert (found.text, found.frames.tolist(), found.rub_outs) == (b"AB", [3, 7], 2)


@given(BYTES)
def test_any_frames_are_read(frames):
    found = read(frames)

    assert len(found.text) == len(found.frames)
    assert set(found.parity_errors.tolist()) <= set(found.frames.tolist())


def test_a_character_beyond_seven_bits_is_refused_with_its_place():
    with pytest.raises(CannotBuild, match="no character E9") as refused:
        CODE.write(b"caf\xe9", Parity.EVEN)

    assert refused.value.frame == 3
