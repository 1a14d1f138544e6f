"""Which programs of a tape of the 12-bit machine close their checksum."""

from server.tape.formats.bin12 import Bin12
from server.tape.image import Span
from server.tape.self_checking import Checked
from server.tape.twelve_bit.program import WordProgram
from tests.tape.checked_tapes import checked

WORDS = b"".join((number * 37 % 4096).to_bytes(2, "big") for number in range(100))
TAPE = Bin12().build(WordProgram({0o200: WORDS}))
SPAN = Span(60, 60 + 2 + 200 + 2)


def test_a_program_whose_sum_comes_out_is_sound() -> None:
    assert checked(TAPE.frames, "bin12") == Checked((SPAN,), ())


def test_a_program_whose_sum_does_not_is_a_fault() -> None:
    spoilt = bytearray(TAPE.frames)
    spoilt[100] ^= 1
    assert checked(bytes(spoilt), "bin12") == Checked((), (SPAN,))


def test_a_pair_without_its_second_frame_is_a_fault_whatever_the_sum() -> None:
    spoilt = bytearray(TAPE.frames)
    at = TAPE.frames.index(b"\0", 62)
    del spoilt[at]
    assert checked(bytes(spoilt), "bin12").sound == ()


def test_each_program_of_a_tape_has_a_sum_of_its_own() -> None:
    spoilt = bytearray(TAPE.frames * 2)
    spoilt[100] ^= 1
    found = checked(bytes(spoilt), "bin12")
    assert found.faults == (SPAN,)
    assert found.sound == (Span(SPAN.start + len(TAPE), SPAN.stop + len(TAPE)),)


def test_frames_that_no_origin_leads_are_no_program() -> None:
    assert checked(b"\x80" * 20 + b"\1\2\3\4" + b"\x80" * 20, "bin12") == Checked((), ())
