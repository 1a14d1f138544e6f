import pytest

from server.tape.errors import CannotBuild
from server.tape.hexadecimal.program import HexProgram


def test_memory_is_cut_into_records():
    program = HexProgram({0x10: b"abcdef", 0: b"xy"}, record_length=4)
    assert list(program.chunks()) == [(0, b"xy"), (0x10, b"abcd"), (0x14, b"ef")]


def test_no_record_crosses_a_bound_of_64_ki():
    program = HexProgram({0xFFFE: b"abcd"})
    assert list(program.chunks()) == [(0xFFFE, b"ab"), (0x10000, b"cd")]


def test_the_highest_address_may_be_the_entry():
    assert HexProgram({4: b"ab", 90: b""}).highest == 5
    assert HexProgram({4: b"ab"}, entry_address=99).highest == 99
    assert HexProgram().highest == 0


@pytest.mark.parametrize(
    ("program", "what"),
    [
        (HexProgram(record_length=0), "cannot carry 0 bytes"),
        (HexProgram(record_length=300), "cannot carry 300 bytes"),
        (HexProgram({-1: b"a"}), "outside the addresses"),
        (HexProgram({0xFFFFFFFF: b"ab"}), "outside the addresses"),
        (HexProgram(entry_address=1 << 32), "outside the addresses"),
        (HexProgram(entry_address=-5), "outside the addresses"),
        (HexProgram({0: b"abc", 2: b"x"}), "both hold address 0002"),
        (HexProgram(line_end=b"\r\nX"), "printing characters"),
    ],
)
def test_what_no_record_can_carry_is_refused_and_said(program, what):
    with pytest.raises(CannotBuild, match=what) as refused:
        program.check(longest=255)
    assert refused.value.mend
