import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus, Severity
from server.tape.formats.base import Loader
from server.tape.formats.text import Text, TextContent
from server.tape.image import Image, Orientation
from server.tape.listing import MOST_LINES
from server.tape.view import View
from tests.tape.drawing import listing_lines

TEXT = Text()
PROGRAM = (
    "10 REM TIDE TABLE",
    '20 INPUT "WHICH DAY";D',
    "30 LET H=3+2*SIN(D/2.3)",
    '40 PRINT "HIGH WATER";H',
    "50 END",
)


def decode(image):
    return TEXT.parse(View(image))


def lines_of(decoding):
    return tuple(line.text for line in decoding.listing)


@given(
    st.builds(
        TextContent,
        listing_lines(),
        st.sampled_from(Parity),
        st.sampled_from([b"\r\n", b"\n", b"\r", b"\n\r", b"\r\r\n", b"\r\n\0\0\xff"]),
        st.integers(0, 90),
        st.integers(0, 90),
    )
)
def test_lines_punched_are_listed_again(content):
    if b"\xff" in content.line_end:
        content = TextContent(content.lines, content.parity, b"\r\n", content.leader)

    assert lines_of(decode(TEXT.build(content))) == content.lines


def test_fill_and_rub_outs_after_a_line_end_do_not_show():
    frames = b"".join(line.encode() + b"\r\n\0\0\xff" for line in PROGRAM)

    assert lines_of(decode(Image(frames))) == PROGRAM


def test_each_line_is_tied_to_its_frames():
    image = TEXT.build(TextContent(("AB", "", "CDE"), leader=5))

    assert [(line.frame, line.frames) for line in decode(image).listing] == [
        (5, 4),
        (9, 2),
        (11, 5),
    ]


def test_content_is_the_same_whatever_the_leader_the_parity_and_the_line_ends():
    contents = {
        decode(TEXT.build(TextContent(PROGRAM, parity, line_end, leader))).content
        for parity in (Parity.EVEN, Parity.MARK)
        for line_end in (b"\r\n", b"\n")
        for leader in (0, 70)
    }

    assert contents == {"\n".join(PROGRAM).encode()}


def test_a_basic_program_needs_an_interpreter_and_its_lines_carry_their_numbers():
    decoding = decode(TEXT.build(TextContent(PROGRAM)))

    assert (decoding.language, decoding.loader) == ("basic", Loader.LANGUAGE_INTERPRETER)
    assert [line.key for line in decoding.listing] == [10, 20, 30, 40, 50]


def test_a_letter_needs_nothing_and_is_in_no_language():
    decoding = decode(TEXT.build(TextContent(("DEAR MIRA,", "THE READER CAME."))))

    assert (decoding.language, decoding.loader) == (None, Loader.NONE)


@pytest.mark.parametrize(
    ("parity", "status"),
    [
        (Parity.EVEN, CheckStatus.SOUND),
        (Parity.ODD, CheckStatus.SOUND),
        (Parity.MARK, CheckStatus.NO_CHECK),
        (Parity.SPACE, CheckStatus.NO_CHECK),
    ],
)
def test_only_even_and_odd_parity_check_a_tape(parity, status):
    assert decode(TEXT.build(TextContent(PROGRAM, parity))).check_status is status


def test_a_wrong_hole_is_damage_at_its_frame():
    frames = bytearray(TEXT.build(TextContent(PROGRAM)).frames)
    frames[100] ^= 0x04

    decoding = decode(Image(bytes(frames)))

    assert decoding.check_status is CheckStatus.DAMAGED
    assert [(each.kind, each.severity, each.frame) for each in decoding.findings] == [
        ("parity-error", Severity.DAMAGE, 100)
    ]
    assert (decoding.findings[0].position_mm, decoding.findings[0].position_inches) == (254.0, 10.0)


def test_control_characters_are_shown_in_braces_and_found():
    decoding = decode(Image(b"10 PRINT \x07A\r\n20 END\r\n"))

    assert lines_of(decoding) == ("10 PRINT {07}A", "20 END")
    assert [(each.kind, each.frame) for each in decoding.findings] == [("control-character", 9)]


def test_a_heap_of_control_characters_is_told_in_bounded_findings():
    decoding = decode(Image(b"10 REM TIDE\r\n" * 20 + b"\x07" * 70 + b"\x08B"))

    assert len(decoding.findings) == 51
    assert decoding.findings[-1].message.startswith("21 more")


def test_rub_outs_in_the_text_are_one_note():
    decoding = decode(Image(b"\xff\xff10 \xff\xffEND\r\n\xff"))

    assert [(each.kind, each.frame) for each in decoding.findings] == [("rub-out", 5)]
    assert lines_of(decoding) == ("10 END",)


def test_a_tape_without_characters_has_no_lines_and_no_data():
    decoding = decode(Image(bytes(8)))

    assert (len(decoding.listing), decoding.data, decoding.check_status) == (
        0,
        (8, 8),
        CheckStatus.NO_CHECK,
    )


@given(st.binary(min_size=1, max_size=500), st.sampled_from(Orientation))
def test_whatever_the_frames_findings_and_lines_lie_on_the_tape(frames, orientation):
    view = View(Image(frames), orientation)
    decoding = TEXT.parse(view)
    evidence = TEXT.recognise(view)

    assert evidence is None or 0 <= evidence.confidence <= 1
    for placed in (*decoding.findings, *decoding.listing):
        assert 0 <= placed.frame <= placed.frame + placed.frames <= len(frames)


@pytest.mark.parametrize(
    ("line", "what"), [("CAFÉ", "no character 'É'"), ("A\nB", "holds a line end")]
)
def test_what_the_code_cannot_carry_is_refused(line, what):
    with pytest.raises(CannotBuild, match=what):
        TEXT.build(TextContent((line,)))


def test_a_six_level_tape_is_not_text():
    assert TEXT.recognise(View(Image(b"12345", 6))) is None


@pytest.mark.parametrize("code", ["ita2", "rs-244"])
def test_text_in_other_codes_is_listed_as_it_was_punched(code):
    lines = ("the tide turns at seven and the boats go with it", "then the rest of them are in")
    written = lines if code == "rs-244" else tuple(line.upper() for line in lines)
    line_end = b"\n" if code == "rs-244" else b"\r\n"

    decoding = decode(TEXT.build(TextContent(written, line_end=line_end, code=code)))

    assert (decoding.code, lines_of(decoding)) == (code, written)


def test_rub_outs_on_five_levels_are_found_where_they_stand():
    frames = CODES["ita2"].write(b"THE AND FROM WITH THIS TAPE\r\n", Parity.NONE)
    image = Image(bytes(9) + frames[:5] + b"\x1f\x1f" + frames[5:], 5)

    assert [(each.kind, each.frame) for each in decode(image).findings] == [("rub-out", 14)]


def test_blank_lines_stay_where_a_return_alone_ends_a_line():
    assert lines_of(decode(Image(b"10 REM A\r\r20 END\r"))) == ("10 REM A", "", "20 END")


@given(st.lists(st.sampled_from([b"\r", b"\n", b"\r\n", b"A", b"\x07B"]), max_size=12))
def test_lines_and_content_are_those_of_the_line_ends_one_by_one(pieces):
    text = b"".join(pieces)
    ends = re.compile(rb"\r*\n(?:\r(?![\r\n]))?|\r+" if b"\n" in text else rb"\r")
    lines = ends.split(text)
    decoding = decode(Image(text or b"\0"))
    shown = [
        line.replace(b"\x07", b"{07}").decode() for line in (lines if lines[-1] else lines[:-1])
    ]
    assert decoding.content == b"\n".join(ends.split(text.rstrip(b"\r\n")))
    assert lines_of(decoding) == tuple(shown)
    assert sum(line.frames for line in decoding.listing) == len(text)


def test_more_lines_than_any_tape_has_are_not_listed():
    decoding = decode(Image(b"A\n" * (MOST_LINES + 5)))

    assert len(decoding.listing) == MOST_LINES
    assert [each.kind for each in decoding.findings] == ["lines-unlisted"]
