"""Lines to tokens as the interpreter does it, and back."""

import pytest
from hypothesis import given

from server.tape.basic.crunch import crunch
from server.tape.basic.dialect_8k_8080 import DIALECT_8K_8080
from server.tape.basic.uncrunch import uncrunch
from server.tape.errors import CannotBuild
from tests.tape.basic_tapes import KEYWORDS, statements


def crunched(text):
    return crunch(text, DIALECT_8K_8080)


@pytest.mark.parametrize("keyword", KEYWORDS)
def test_each_keyword_becomes_its_token(keyword):
    assert crunched(keyword) == bytes([DIALECT_8K_8080.token(keyword)])


@pytest.mark.parametrize(
    ("text", "tokens"),
    [
        ("PRINT A", b"\x96 A"),
        ("?A", b"\x96A"),
        ('?"?"', b'\x96"?"'),
        ("FORI=ATOB", b"\x81I\xacA\x9eB"),
        ("A = SCORE", b"A \xac SC\xaaE"),
        ("INPUTN", b"\x84N"),
        ("INP(1)", b"\xb3(1)"),
        ("GO TO 10", b"GO \x9e 10"),
        ("GOTO10", b"\x8810"),
        ("X=RND(-N)", b"X\xac\xb6(\xa5N)"),
        ('PRINT"FOR";:REM', b'\x96"FOR";:\x8e'),
        ('PRINT"NO END', b'\x96"NO END'),
        ("REM FOR?", b"\x8e FOR?"),
        ("REMARK:PRINT", b"\x8eARK:PRINT"),
        ("DATA FOR,?:PRINT", b"\x83 FOR,?:\x96"),
        ('DATA"A:TO",TO:TO', b'\x83"A:TO",TO:\x9e'),
        ("DATA", b"\x83"),
        ("", b""),
        ("TAB(3)", b"\x9d3)"),
        ("TAB (3)", b"TAB (3)"),
    ],
)
def test_a_line_is_crunched_as_the_interpreter_does(text, tokens):
    assert crunched(text) == tokens


def test_lower_case_counts_as_upper_case_except_where_text_is_literal():
    assert crunched('print"Hi";a:data b:rem c') == b'\x96"Hi";A:\x83 b:\x8e c'


@pytest.mark.parametrize("text", ["PRINT\t1", 'PRINT"é"', "A=1\n"])
def test_a_character_that_the_tape_cannot_carry_is_refused(text):
    with pytest.raises(CannotBuild, match="cannot hold the character") as refused:
        crunched(text)
    assert "ISO 646" in refused.value.mend


@given(statements())
def test_what_is_crunched_comes_back_as_it_was(text):
    assert uncrunch(crunched(text), DIALECT_8K_8080).text == text
