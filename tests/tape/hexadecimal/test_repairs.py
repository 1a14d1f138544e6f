import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.s_record import SRecord
from server.tape.formats.semicolon_hex import SemicolonHex
from server.tape.formats.tek_hex import TekHex
from server.tape.hexadecimal.equations import Equations, equations
from server.tape.hexadecimal.mending import checked, digits_of
from server.tape.hexadecimal.program import HexProgram
from server.tape.hexadecimal.records import Grammar
from server.tape.hexadecimal.repairs import Broken, Slipped, repairs, slipped

COLON, LETTER = IntelHex.grammar, SRecord.grammar
LINE = b":070100003E41D301C30001E1"
PAYLOADS = st.binary(min_size=1, max_size=40)
GRAMMARS = {each.name: each for each in (IntelHex(), SRecord(), SemicolonHex(), TekHex())}


def record_of(name: str, data: bytes) -> bytes:
    """The first record of the tape that carries `data` at 0100."""
    program = HexProgram({0x100: data}, record_length=len(data), leader=0, trailer=0)
    frames = GRAMMARS[name].build(program).frames
    return frames.translate(bytes(range(128)) * 2).split(b"\r")[0]


def fulfilled_by(line: bytes, grammar: Grammar) -> Equations:
    found = equations(grammar, (len(line) - grammar.head) // 2)
    assert found is not None
    return found


def slip_of(line: bytes, grammar: Grammar) -> Slipped:
    found = slipped(line, grammar)
    assert found is not None
    return found


@pytest.mark.parametrize("name", GRAMMARS)
@given(PAYLOADS, st.data())
def test_a_dropped_digit_is_among_those_that_would_fit(name, payload, data):
    line, grammar = record_of(name, payload), GRAMMARS[name].grammar
    at = data.draw(st.integers(grammar.head, len(line) - 1))
    short = line[:at] + line[at + 1 :]
    found = fulfilled_by(line, grammar).insertions(
        np.array([int(chr(digit), 16) for digit in short[grammar.head :]])
    )

    lines = [
        short[: each.place + grammar.head] + b"%X" % each.digit + short[each.place + grammar.head :]
        for each in found
    ]
    assert line in lines
    assert len(set(lines)) == len(lines)
    assert all(checked(each, grammar) for each in lines)
    assert slip_of(short, grammar).kind == "frame-dropped"


@pytest.mark.parametrize("name", GRAMMARS)
@given(PAYLOADS, st.data())
def test_a_digit_read_twice_is_told(name, payload, data):
    line, grammar = record_of(name, payload), GRAMMARS[name].grammar
    at = data.draw(st.integers(grammar.characters(4), len(line) - 1))
    long = line[:at] + line[at : at + 1] + line[at:]

    assert slip_of(long, grammar).kind == "frame-doubled"


@pytest.mark.parametrize("name", GRAMMARS)
@given(PAYLOADS, st.data())
def test_every_change_offered_satisfies_the_checks(name, payload, data):
    line, grammar = record_of(name, payload), GRAMMARS[name].grammar
    at = data.draw(st.integers(grammar.characters(4), len(line) - 1))
    digit = data.draw(st.sampled_from([each for each in b"0123456789ABCDEF" if each != line[at]]))
    wrong = line[:at] + bytes([digit]) + line[at + 1 :]
    digits = digits_of(bytes.fromhex(wrong[grammar.head :].decode()))

    changes = fulfilled_by(line, grammar).changes(digits)
    assert (at - grammar.head, int(chr(line[at]), 16)) in changes
    for place, value in changes:
        mended = bytearray(wrong)
        mended[place + grammar.head] = ord(f"{value:X}")
        assert checked(bytes(mended), grammar)


def test_one_broken_frame_gives_one_way():
    wrong = LINE.replace(b"3E", b"2E")
    assert repairs(wrong, Broken([9], tells=True), COLON) == (
        "; parity and checksum are both right if character 10 is '3', its byte 3E"
    )


def test_two_broken_frames_in_one_byte_change_it_together():
    wrong = LINE.replace(b"3E", b"2D")
    assert "character 10 is '3', its byte 3E and character 11 is 'E', its byte 3E" in repairs(
        wrong.replace(b"2D", b"2A"), Broken([9, 10], tells=True), COLON
    )


def test_the_parity_hole_itself_may_be_the_wrong_one():
    wrong = LINE.replace(b"3E", b"2E")
    ways = repairs(wrong, Broken([9, 11], tells=True), COLON)
    assert ways.endswith(
        "right if character 12 is '5', its byte 51 or character 10 is '3', its byte 3E"
    )


def test_a_broken_mark_changes_no_digit():
    wrong = LINE.replace(b"3E", b"2E")
    assert "character 10 is '3'" in repairs(wrong, Broken([0, 9], tells=True), COLON)


def test_where_no_hole_explains_it_that_is_said():
    wrong = LINE.replace(b"3E", b"2E")
    assert "no change of one hole" in repairs(wrong, Broken([4], tells=True), COLON)
    assert "two holes at least" in repairs(wrong, Broken([], tells=True), COLON)
    assert repairs(wrong, Broken([4, 5, 6, 7], tells=True), COLON) == ""


def test_without_parity_a_handful_of_single_holes_is_offered():
    found = repairs(b":10000000" + b"55" * 16 + b"A1", Broken([], tells=False), COLON)
    assert found.startswith("; the checksum is right if character")
    assert found.count("its byte") == 4
    assert found.endswith("more ways")


@pytest.mark.parametrize("line", [LINE, LINE[:8] + b"s" + LINE[8:], b":0", b":", LINE[:-5]])
def test_what_is_no_digit_short_or_long_did_not_slip(line):
    assert slipped(line, COLON) is None


def test_no_record_has_a_length_beyond_a_byte():
    assert equations(COLON, 0xFF + 6) is None
    assert equations(COLON, 4) is None
    assert equations(TekHex.grammar, 5) is None
    assert slipped(b":" + b"0" * 801, COLON) is None
