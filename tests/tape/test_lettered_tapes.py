"""Letters on whole tapes: told beside what the tape holds, and changing nothing of it."""

from pathlib import Path

import pytest

from server.tape.formats import FORMATS
from server.tape.formats.text import TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Orientation, Span
from server.tape.lettering import find_lettering, letter_frames, lettering_findings
from server.tape.parts import PartKind
from tests.tape.basic_tapes import saved
from tests.tape.lettered import taped

PROGRAM = bytes.fromhex("3E41D301C30001") * 12
IMAGES = Path(__file__).parents[2] / "seed_data" / "images"


def hex_tape():
    return FORMATS["intel-hex"].build(HexProgram({0x100: PROGRAM})).frames.strip(b"\0")


def text_tape():
    lines = ("10 REM LAMP PATTERN", "20 FOR I=1 TO 8", '30 PRINT TAB(I);"*"', "40 GOTO 20")
    return FORMATS["text"].build(TextContent(lines)).frames.strip(b"\0")


TAPES = {"text": text_tape, "intel-hex": hex_tape, "crunched-basic": saved}


@pytest.mark.parametrize("orientation", Orientation)
@pytest.mark.parametrize("name", TAPES)
def test_letters_at_both_ends_of_a_tape_are_told_and_change_nothing_else(name, orientation):
    letters, behind = letter_frames("DICE 3"), letter_frames("SIDE B")
    image = taped(letters, TAPES[name](), behind=behind)
    bare = taped(bytes(len(letters)), TAPES[name](), behind=bytes(len(behind)))

    decoded, plain = (decode(each.turned(orientation).frames) for each in (image, bare))

    assert (decoded.decoding.format, decoded.orientation) == (name, orientation)
    assert decoded.lettering == "DICE 3 SIDE B"
    assert plain.decoding.content == decoded.decoding.content
    assert plain.decoding.check_status is decoded.decoding.check_status
    assert (plain.leader_frames, plain.trailer_frames) == (
        decoded.leader_frames, decoded.trailer_frames,
    )  # fmt: skip
    kinds = [part.kind for part in decoded.parts]
    assert kinds.count(PartKind.LETTERING) == 2
    told = [finding for finding in decoded.decoding.findings if finding.kind == "lettering"]
    spans = {Span(finding.frame, finding.frame + finding.frames) for finding in told}
    assert {each.span for each in find_lettering(image.turned(orientation))} == spans
    assert [plain for plain in decoded.decoding.findings if plain.kind != "lettering"] == list(
        plain.decoding.findings
    )


def test_a_note_says_what_the_letters_say_and_how_sure_that_is():
    (finding,) = lettering_findings(find_lettering(taped(letter_frames("DICE 3"))))

    assert finding.kind == "lettering"
    assert finding.severity == "note"
    assert "“DICE 3”" in finding.message
    assert "99% confidence" in finding.message.replace(" %", "%")


@pytest.mark.parametrize("path", sorted(IMAGES.glob("*.bin")), ids=lambda path: path.stem)
def test_the_tapes_of_the_demonstration_bear_letters_only_where_they_were_given(path):
    decoded = decode(path.read_bytes())

    assert decoded.lettering is None
