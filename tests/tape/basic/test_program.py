"""A program as typed, and as a machine saves it."""

import pytest

from server.tape.basic.program import BasicProgram, program_bytes, program_from_text
from server.tape.errors import CannotBuild
from tests.tape.basic_tapes import LISTED, PROGRAM, saved


def test_a_listing_becomes_the_program_that_typing_it_in_would_leave():
    typed = "20 GOTO 10\r\n\n10 PRINT\n  30   REM  X\n40 END\n10 PRINT 1\n40\n"
    assert program_from_text(typed, "Z") == BasicProgram(
        "Z", ((10, "PRINT 1"), (20, "GOTO 10"), (30, "REM  X"))
    )


def test_a_line_without_a_number_is_refused():
    with pytest.raises(CannotBuild, match="no line number"):
        program_from_text("10 END\nHELLO")


def test_the_program_is_saved_as_the_machine_keeps_it():
    assert program_bytes(program_from_text("\n".join(LISTED))) == saved(PROGRAM)


def test_the_links_follow_from_the_start_address():
    program = BasicProgram("B", ((10, "END"),), start_address=0x0401)
    assert program_bytes(program) == bytes.fromhex("D3 D3 D3 42 07 04 0A 00 80 00 00 00")


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"name": ""}, "program's name"),
        ({"name": "AB"}, "program's name"),
        ({"name": "é"}, "program's name"),
        ({"dialect": "9k"}, "no dialect '9k'"),
        ({"lines": ((20, "END"), (20, "END"))}, "line number 20 does not follow 20"),
        ({"lines": ((-1, "END"),)}, "line number -1 does not follow -1"),
        ({"lines": ((65530, "END"),)}, "line number 65530 is above 65529"),
        ({"lines": ((10, ""),)}, "line 10 is empty"),
        ({"lines": ((10, "X" * 256),)}, "line 10 takes 256 bytes"),
        ({"start_address": 0xFFF9}, "line 10 reaches beyond address FFFF"),
    ],
)
def test_what_the_interpreter_cannot_hold_is_refused_with_a_way_to_mend_it(changes, fault):
    fields = {"name": "A", "lines": ((10, "END"),)} | changes
    with pytest.raises(CannotBuild, match=fault) as refused:
        program_bytes(BasicProgram(**fields))
    assert refused.value.mend


def test_a_program_may_fill_memory_to_the_last_byte():
    last = BasicProgram("A", ((10, "END"),), start_address=0x10000 - 8)
    assert len(program_bytes(last)) == 4 + 8
