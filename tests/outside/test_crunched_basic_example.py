"""A worked example of crunched BASIC, and the keywords against a published standard.

The example: computed by hand from the layout of the 8K class as it is remembered (three bytes D3,
a name, linked lines at 2001, one-byte tokens); no published source for the layout was at hand.
The keywords: ECMA-55, Minimal BASIC, January 1978 (also ANSI X3.60-1978), recalled, not re-read.
"""

import pytest

from server.tape.basic import DIALECTS
from server.tape.findings import CheckStatus
from server.tape.formats.base import LoadRange
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.identify import decode
from server.tape.image import Image, Orientation
from server.tape.view import View

EXAMPLE = bytes.fromhex(
    "D3 D3 D3 41"
    "0C 20 0A 00 96 22 48 49 96 22 00"
    "18 20 14 00 8E 20 46 4F 52 20 81 00"
    "25 20 1E 00 83 41 2C 54 4F 3A 96 41 00"
    "2E 20 28 00 88 20 31 30 00"
    "00 00"
)
LISTED = '10 PRINT"HI{96}"\n20 REM FOR {81}\n30 DATAA,TO:PRINTA\n40 GOTO 10\n'

STANDARD_KEYWORDS = (
    "BASE DATA DEF DIM END FOR GO GOSUB GOTO IF INPUT LET NEXT ON OPTION PRINT RANDOMIZE READ REM "
    "RESTORE RETURN STEP STOP SUB THEN TO"
).split()
STANDARD_FUNCTIONS = "ABS ATN COS EXP INT LOG RND SGN SIN SQR TAN".split()

# The 8K class knows neither OPTION BASE nor RANDOMIZE, and writes GOTO and GOSUB in one word.
NOT_IN_THE_8K_CLASS = {"BASE", "GO", "OPTION", "RANDOMIZE", "SUB"}


def test_the_worked_example_lists_exactly():
    decoding = CrunchedBasic().parse(View(Image(EXAMPLE)))
    assert decoding.listing.text == LISTED
    assert [line.frames for line in decoding.listing] == [11, 12, 13, 9]
    assert decoding.load_ranges == (LoadRange(0x2001, 0x202F),)
    assert decoding.check_status is CheckStatus.NO_CHECK


def test_the_two_raw_tokens_of_the_worked_example_are_told():
    findings = CrunchedBasic().parse(View(Image(EXAMPLE))).findings
    assert [(each.kind, each.frame) for each in findings] == [
        ("token-in-text", EXAMPLE.index(b"\x96\x22\x00")),
        ("token-in-text", EXAMPLE.index(b"\x81\x00")),
    ]


@pytest.mark.parametrize("orientation", list(Orientation))
def test_the_worked_example_is_known_however_it_lay_in_the_reader(orientation):
    tape = Image(bytes(60) + EXAMPLE + bytes(90)).turned(orientation)
    decoded = decode(tape.frames)
    assert decoded.decoding.format == "crunched-basic"
    assert decoded.orientation is orientation
    assert decoded.decoding.listing.text == LISTED
    assert (decoded.leader_frames, decoded.trailer_frames) == (60, 90)


def test_the_keywords_of_the_standard_are_in_the_table_or_are_known_not_to_be():
    ours = set(DIALECTS["8k-8080"].tokens.values())
    standard = {*STANDARD_KEYWORDS, *STANDARD_FUNCTIONS}
    assert standard - ours == NOT_IN_THE_8K_CLASS
    # The standard has TAB in PRINT only; the class keeps it with its bracket.
    assert "TAB(" in ours
