import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild

TELEGRAPH = "ABCDEFGHIJKLMNOPQRSTUVWXYZ 0123456789\r\n-'():+?,./="
CONTROL = "0123456789abcdefghijklmnopqrstuvwxyz%&/,-.+ \n\t"


def read(code, frames, levels=8):
    return CODES[code].read(np.frombuffer(frames, np.uint8), levels)


@given(st.text(TELEGRAPH, max_size=200))
def test_telegraph_text_written_is_read_again(text):
    frames = CODES["ita2"].write(text.encode(), Parity.NONE)

    assert read("ita2", frames, 5).text == text.encode()
    assert max(frames) < 32


def test_a_reader_starts_in_letters_and_shifts_as_it_is_told():
    found = read("ita2", bytes([0x0A, 0x1B, 0x17, 0x16, 0x1F, 0x0A]), 5)

    assert (found.text, found.frames.tolist()) == (b"R10R", [0, 2, 3, 5])


def test_letters_shifts_in_a_row_are_rub_outs():
    assert read("ita2", bytes([0x0A, 0x1F, 0x1F, 0x1F, 0x0A]), 5).rub_outs == 2


def test_figures_of_the_united_states_are_a_table_of_their_own():
    frames = bytes([0x1B, 0x09, 0x14])

    assert (read("ita2", frames, 5).text, read("ita2-us", frames, 5).text) == (b"\x05\x1a", b"$#")


@given(st.text(CONTROL, max_size=200))
def test_control_text_written_is_read_again(text):
    frames = CODES["rs-244"].write(text.encode(), Parity.ODD)
    found = read("rs-244", frames)

    assert (found.text, found.parity_errors.size) == (text.encode(), 0)


def test_an_even_frame_of_a_control_tape_is_a_parity_error_and_no_character():
    found = read("rs-244", bytes([0x45, 0x03, 0x01]))

    assert (found.text, found.parity_errors.tolist()) == (b"n\x1a1", [1])


def test_what_typewriters_shift_by_carries_nothing():
    assert read("rs-244", bytes([0x7C, 0x45, 0x7A, 0x7F, 0x01])).text == b"n1"


@given(st.text("N0123456789GXYZ%-+. \n", max_size=100))
def test_the_subset_for_control_is_read_as_it_was_written(text):
    frames = CODES["iso-840"].write(text.encode(), Parity.SPACE)
    found = read("iso-840", frames)

    assert (found.code, found.text) == ("iso-840", text.encode())
    assert all(frame.bit_count() % 2 == 0 for frame in frames)


@pytest.mark.parametrize(
    ("code", "text", "frame"), [("ita2", b"AB{", 2), ("rs-244", b"G=", 1), ("iso-840", b"a", 0)]
)
def test_a_character_that_a_code_lacks_is_refused_with_its_place(code, text, frame):
    with pytest.raises(CannotBuild, match="has no character") as refused:
        CODES[code].write(text, Parity.EVEN)

    assert refused.value.frame == frame


@pytest.mark.parametrize("code", CODES)
@given(frames=st.binary(max_size=300))
def test_any_frames_are_read_and_weighed(code, frames):
    array = np.frombuffer(frames, np.uint8)
    found = read(code, frames, max(CODES[code].levels))
    fit = CODES[code].weigh(np.bincount(array, minlength=256), max(CODES[code].levels))

    assert len(found.text) == len(found.frames)
    assert set(found.parity_errors.tolist()) <= set(found.frames.tolist())
    assert 0 <= fit.fitting <= fit.carriers <= len(frames)
