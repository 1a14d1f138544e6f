"""Tokens to text, exactly; what stands for nothing is shown and counted."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.basic.dialect_8k_8080 import DIALECT_8K_8080
from server.tape.basic.uncrunch import Uncrunched, uncrunch, uncrunch_all


def read(tokens):
    return uncrunch(tokens, DIALECT_8K_8080)


@pytest.mark.parametrize(
    ("tokens", "text"),
    [
        (b'\x96"HI"', 'PRINT"HI"'),
        (b"\x81 I \xac 1 \x9e 9", "FOR I = 1 TO 9"),
        (b"\x83A,B:\x96A", "DATAA,B:PRINTA"),
        (b'\x83"A:B":\x96', 'DATA"A:B":PRINT'),
        (b"\x8e:?", "REM:?"),
        (b"", ""),
    ],
)
def test_ordinary_lines_have_nothing_odd(tokens, text):
    assert read(tokens) == Uncrunched(text)


@pytest.mark.parametrize(
    ("tokens", "expected"),
    [
        (b'\x96"\x96":\x96', Uncrunched('PRINT"{96}":PRINT', literal=(2,))),
        (b'\x96"\x81\x82', Uncrunched('PRINT"{81}{82}', literal=(2, 3))),
        (b"\x8e\x81:\x82", Uncrunched("REM{81}:{82}", literal=(1, 3))),
        (b"\x83\x81:\x81", Uncrunched("DATA{81}:FOR", literal=(1,))),
        (b'\x83"\x81:\x81', Uncrunched('DATA"{81}:{81}', literal=(2, 4))),
        (b"A\xff\xc6\x96", Uncrunched("A{FF}{C6}PRINT", unknown=(1, 2))),
        (b'\x07"\x0d"\x7f\x00', Uncrunched('{07}"{0D}"{7F}{00}', control=(0, 2, 4))),
    ],
)
def test_what_stands_for_nothing_is_shown_in_braces_and_told(tokens, expected):
    assert read(tokens) == expected


def straightforward(tokens):
    """The same rules, byte by byte."""
    text, quoted, remark, data = "", False, False, False
    for byte in tokens:
        literal = quoted or remark or data
        if byte == 0:
            quoted = remark = data = False
        elif byte == 0x22 and not remark:
            quoted = not quoted
        elif byte == 0x3A and not quoted and not remark:
            data = False
        elif not literal:
            remark = byte == 0x8E
            data = byte == 0x83
        known = not literal and byte in DIALECT_8K_8080.tokens
        plain = chr(byte) if 0x20 <= byte < 0x7F else f"{{{byte:02X}}}"
        text += DIALECT_8K_8080.tokens[byte] if known else plain
    return text


TELLING = st.sampled_from([0x22, 0x3A, 0x83, 0x8E, 0x96, 0xFF, 0x41, 0x07, 0x20])


@given(st.one_of(st.binary(max_size=80), st.lists(TELLING, max_size=30).map(bytes)))
def test_any_bytes_are_read_as_a_byte_by_byte_reading_would(tokens):
    assert read(tokens).text == straightforward(tokens)


@given(st.binary(max_size=80))
def test_each_byte_that_stands_for_nothing_is_told_once(tokens):
    found = read(tokens)
    told = [*found.unknown, *found.literal, *found.control]
    shown = found.text.count("{") - found.text.count("{00}") - tokens.count(b"{")
    assert len(told) == len(set(told)) == shown


@given(st.lists(st.lists(TELLING, max_size=9).map(bytes), max_size=9))
def test_many_lines_are_read_as_each_of_them_alone(lines):
    texts, odd = uncrunch_all(lines, DIALECT_8K_8080)
    alone = [read(line) for line in lines]
    assert texts == [each.text for each in alone]
    assert odd == {at: each for at, each in enumerate(alone) if any(each[1:])}
