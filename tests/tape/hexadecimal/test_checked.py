"""Which frames are sound records, and which are none but should be."""

import pytest

from server.tape.formats import FORMATS
from server.tape.formats.intel_hex import IntelHex
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Span
from server.tape.self_checking import Checked, SelfChecking
from tests.tape.checked_tapes import checked

PROGRAM = HexProgram({0x100: bytes(range(64))}, leader=10, trailer=10)
TAPE = IntelHex().build(PROGRAM).frames
RECORD = 43 + 2


@pytest.mark.parametrize("name", ["intel-hex", "s-record", "semicolon-hex", "tek-hex"])
def test_every_record_of_a_clean_tape_is_sound(name: str) -> None:
    found = checked(FORMATS[name].build(PROGRAM).frames, name)
    assert len(found.sound) >= 5
    assert found.faults == ()


def test_formats_without_checksums_are_not_asked() -> None:
    asked = {name for name, each in FORMATS.items() if isinstance(each, SelfChecking)}
    assert asked == {
        "intel-hex",
        "s-record",
        "semicolon-hex",
        "tek-hex",
        "absolute-block",
        "checksum-block",
        "bin12",
    }


@pytest.mark.parametrize("record", range(4))
def test_a_record_that_fails_is_a_fault_where_it_stands(record: int) -> None:
    spoilt = bytearray(TAPE)
    start = 10 + record * RECORD
    spoilt[start + 20] = b"0"[0] if spoilt[start + 20] != b"0"[0] else 0xB1
    found = checked(bytes(spoilt), "intel-hex")
    assert found.faults == (Span(start, start + RECORD - 2),)
    assert len(found.sound) == 4


def test_a_lost_mark_is_a_fault_between_records() -> None:
    spoilt = bytearray(TAPE)
    spoilt[10 + RECORD] = 0
    assert checked(bytes(spoilt), "intel-hex").faults == (Span(11 + RECORD, 8 + 2 * RECORD),)


def test_a_title_before_and_a_note_behind_are_no_faults() -> None:
    note = b"HARBOUR LIGHTS"
    found = checked(note + TAPE + note, "intel-hex")
    assert found.faults == ()
    assert found.sound[0].start == len(note) + 10


def test_a_failing_last_record_reaches_from_its_mark() -> None:
    end = TAPE.rindex(b":")
    spoilt = bytearray(TAPE)
    spoilt[end + 5] = 0xB2
    found = checked(b"TITLE" + bytes(spoilt), "intel-hex")
    assert found.faults == (Span(end + 5, end + 16),)


def test_a_tape_without_records_has_neither() -> None:
    assert checked(b"NOTHING HERE", "intel-hex") == Checked((), ())
