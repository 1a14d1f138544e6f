import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.tape.basic.program import program_from_text
from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.image import Span
from server.tape.line_targets import without_number
from server.tape.listing import Line, Listing
from server.tape.normal_form import normal_form, normal_lines
from server.tape.view import View


def numbered(text: str) -> Line:
    digits = text.strip().split(" ", 1)[0]
    return Line(text, 0, len(text), int(digits) if digits.isdigit() else None)


def basic(text: str) -> str:
    return normal_lines([numbered(text)], "basic")[0]


def decoding(**changes: object) -> Decoding:
    facts: dict[str, object] = {
        "format": "text",
        "data": Span(0, 0),
        "listing": Listing(),
        "check_status": CheckStatus.NO_CHECK,
        "content": b"",
    }
    return Decoding(**{**facts, **changes})  # type: ignore[arg-type]  # a test's short cut


@pytest.mark.parametrize(
    ("typed", "normal"),
    [
        ('10 PRINT "TWO  BLANKS" ; A', '10 PRINT"TWO  BLANKS";A'),
        ("10 ?A:? B", "10 PRINTA:PRINTB"),
        ("10 print a", "10 PRINTA"),
        ('10 print "As typed?"', '10 PRINT"As typed?"'),
        ('10 PRINT "NO END ?', '10 PRINT"NO END ?'),
        ("  0010   GO TO 20", "10 GOTO20"),
        ("10 REM  why?  not ", "10 REMwhy?  not"),
        ('10 A=1: rem a ? "b" : c', '10 A=1:REMa ? "b" : c'),
        ("10 IF A THEN REM what?", "10 IFATHENREMwhat?"),
        ('10 DATA  A B , why? ,"C , D" : ? A', '10 DATAA B,why?,"C , D":PRINTA'),
        ('10 PRINT"X" REM', '10 PRINT"X"REM'),
        ("10 FOR EM=1 TO 3:? EM", "10 FOREM=1TO3:PRINTEM"),
        ("OK  ", "OK"),
        ("   ", ""),
        ("10", "10 "),
    ],
)
def test_what_the_interpreter_ignores_is_gone_and_what_it_keeps_stays(
    typed: str, normal: str
) -> None:
    assert basic(typed) == normal


def test_a_line_of_no_language_loses_only_the_blanks_at_its_end() -> None:
    assert normal_lines([Line("  Dear ?Sir  ", 0, 0)], None) == ["  Dear ?Sir"]


@given(st.text(st.characters(codec="ascii", exclude_characters="\r\n"), max_size=60))
def test_a_line_in_normal_form_is_its_own_normal_form(text: str) -> None:
    line = Line(f"10 {text}", 0, 0, 10)
    once = normal_lines([line], "basic")[0]
    assert normal_lines([line._replace(text=once)], "basic") == [once]


_WORDS = [*"PRINT REM DATA IF THEN FOR EM GO TO AREM rem data low".split(), *'":?,;(1B ', "  "]


@given(
    st.lists(
        st.sampled_from(_WORDS),
        min_size=1,
        max_size=12,
    ).map("".join)
)
def test_a_line_is_the_same_whether_it_comes_crunched_or_as_text(body: str) -> None:
    assume(body.strip() and not body.lstrip()[0].isdigit())
    image = CrunchedBasic().build(program_from_text(f"10 {body}\n20 END"))
    crunched = normal_form(CrunchedBasic().parse(View(image)))
    assert crunched.lines == (basic(f"10 {body}"), "20 END")


def test_a_line_of_ten_million_characters_takes_time_in_proportion() -> None:
    body = 'REX"' * 250_000
    assert len(basic(f"10 {body}")) == len(body) + 3


def test_blank_lines_are_left_out() -> None:
    lines = (Line("ONE", 0, 3), Line("  ", 3, 2), Line("TWO", 5, 3))
    form = normal_form(decoding(listing=Listing(lines)))
    assert (form.lines, form.keys, form.text) == (("ONE", "TWO"), (None, None), "ONE\nTWO\n")


def test_runs_of_memory_that_touch_are_one_and_later_ones_overwrite() -> None:
    form = normal_form(
        decoding(
            format="intel-hex",
            language="machine code",
            memory={0x20: b"DE", 0x10: b"", 0x00: b"ABC", 0x03: b"d", 0x02: b"xy"},
        )
    )
    assert form.memory == ((0x00, b"ABxd"), (0x20, b"DE"))
    assert (form.textual, form.binary) == (False, b"ABxdDE")


def test_without_memory_the_content_is_what_is_binary() -> None:
    form = normal_form(decoding(format="unrecognised", content=b"\x01\x02"))
    assert (form.textual, form.binary) == (False, b"\x01\x02")


def test_a_number_is_taken_off_only_where_the_line_has_one() -> None:
    assert [without_number("10 END", 10), without_number("10 END", None)] == ["END", "10 END"]
