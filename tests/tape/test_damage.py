import random
from typing import Any

import pytest

from server.tape.blocks.program import BlockProgram
from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.damage import damage_findings
from server.tape.findings import Finding, Severity
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.base import Format
from server.tape.formats.bin12 import Bin12
from server.tape.formats.checksum_block import CheckedProgram, ChecksumBlock
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.nc_program import NcContent, NcProgram
from server.tape.formats.raw_binary import RawBinary, RawCode
from server.tape.formats.rim12 import Rim12
from server.tape.formats.s_record import SRecord
from server.tape.formats.semicolon_hex import SemicolonHex
from server.tape.formats.tek_hex import TekHex
from server.tape.formats.text import Text, TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Image, Orientation, Span
from server.tape.parts import Part, PartKind, shifted
from server.tape.twelve_bit.program import WordProgram
from server.tape.view import View
from tests.tape.basic_tapes import saved
from tests.tape.hex_tapes import tape

KINDS = {"torn-feed", "splice", "stuck-channel", "wrong-levels"}
LISTING = tuple(
    f'{10 * at} PRINT "THE TIDE TURNS AT {at * 7 % 12} AND AGAIN AT {at * 5 % 12}";X'
    for at in range(1, 60)
)
TELEGRAM = ("THE READER IS REPAIRED AND TESTED WITH THE LONG TAPE FROM THE LOFT",) * 9
MEMORY = {0x100: bytes(40) + bytes(range(256)) + b"\xff" * 40}
CONTROL = ("%", *(f"N{at} G01 X{at * 7 % 90} Y-{at * 3 % 70}.5" for at in range(1, 80)), "M30", "%")
LINE_ENDS = [b"\r\n", b"\r\n\0\0\0\0\0\0", b"\r" + bytes(12), bytes(10)]

CLEAN = {
    **{
        f"{each.name}, {end!r}": each.build(HexProgram(MEMORY, line_end=end))
        for each in (IntelHex(), SRecord(), SemicolonHex(), TekHex())
        for end in LINE_ENDS
    },
    **{f"text, {rule}": Text().build(TextContent(LISTING, rule)) for rule in Parity},
    "text on five levels": Text().build(TextContent(TELEGRAM, code="ita2")),
    "text with fill": Text().build(TextContent(LISTING, line_end=b"\r\n" + bytes(20))),
    "a picture": Text().build(TextContent((" * * *   ** " * 5,) * 30, Parity.MARK)),
    "nc-program": NcProgram().build(NcContent(CONTROL)),
    "nc-program in rs-244": NcProgram().build(NcContent(CONTROL, "rs-244")),
    "noise": Image(random.Random(5).randbytes(3000)),
    "zeros amid noise": Image(
        random.Random(6).randbytes(900) + bytes(80) + random.Random(7).randbytes(900)
    ),
    "blank": Image(bytes(400)),
}


def found(image: Image, levels: int | None = None) -> list[Finding]:
    findings = decode(image.frames, levels).decoding.findings
    return [each for each in findings if each.kind in KINDS]


def put_in(image: Image, frame: int, frames: bytes) -> Image:
    return Image(image.frames[:frame] + frames + image.frames[frame:], image.levels)


@pytest.mark.parametrize("name", CLEAN)
@pytest.mark.parametrize("orientation", [Orientation.AS_READ, Orientation.REVERSED])
def test_clean_tapes_raise_no_alarm(name, orientation):
    assert found(CLEAN[name].turned(orientation)) == []


BINARY: dict[str, tuple[Format[Any], Any]] = {
    "absolute-block": (AbsoluteBlock(), BlockProgram(MEMORY, gap=60)),
    "checksum-block": (ChecksumBlock(), CheckedProgram(MEMORY, gap=60, block_length=16)),
    "rim12": (Rim12(), WordProgram({0o200: bytes(120) + b"\x0e\x80" * 40})),
    "bin12": (Bin12(), WordProgram({0o200: bytes(120) + b"\x0e\x80" * 40})),
    "raw-binary": (RawBinary(), RawCode(bytes(range(1, 255)) + bytes(99) + b"\xc3\x00\x01" * 40)),
}


def in_it(reader: Format[Any], image: Image) -> list[Finding]:
    """What is found in all that `reader` makes of `image`."""
    view = View(image)
    decoding = reader.parse(view)
    return damage_findings(view, [Part(PartKind.PROGRAM, decoding.data, decoding)])


@pytest.mark.parametrize("name", BINARY)
def test_clean_binary_tapes_raise_no_alarm(name):
    reader, content = BINARY[name]
    assert in_it(reader, reader.build(content)) == []


def test_a_clean_basic_tape_raises_no_alarm():
    assert in_it(CrunchedBasic(), Image(bytes(60) + saved() + bytes(60))) == []


class TestTornFeed:
    @pytest.mark.parametrize("each", [IntelHex(), SRecord(), SemicolonHex(), TekHex()])
    @pytest.mark.parametrize("holes", [b"\0", b"\xff"])
    def test_idle_frames_in_a_record_are_told(self, each, holes):
        image = put_in(each.build(HexProgram(MEMORY, leader=60)), 75, holes * 9)
        (finding,) = found(image)
        assert (finding.kind, finding.severity) == ("torn-feed", Severity.WARNING)
        assert (finding.frame, finding.frames) == (75, 9)
        assert "in the midst of a record" in finding.message

    def test_blank_frames_in_a_line_are_told(self):
        image = put_in(Text().build(TextContent(LISTING, leader=60)), 75, bytes(9))
        (finding,) = found(image)
        assert (finding.kind, finding.frame, finding.frames) == ("torn-feed", 75, 9)
        assert "9 frames without holes in a row stand, in the midst of a line" in finding.message

    def test_rub_outs_in_a_line_and_a_few_blanks_are_ordinary(self):
        image = Text().build(TextContent(LISTING, leader=60))
        assert found(put_in(image, 75, b"\xff" * 9)) == []
        assert found(put_in(image, 75, bytes(7))) == []

    def test_a_finding_is_placed_where_the_reader_met_it(self):
        image = put_in(Text().build(TextContent(LISTING, leader=60)), 75, bytes(9))
        (finding,) = found(image.turned(Orientation.REVERSED))
        assert (finding.frame, finding.frames) == (len(image) - 84, 9)

    def test_idle_frames_in_a_block_count_only_where_it_fails(self):
        content = BlockProgram({0x200: bytes(range(1, 101)), 0x300: bytes(60)})
        image = AbsoluteBlock().build(content)
        torn = bytearray(image.frames)
        torn[90:105] = b"\xff" * 15
        assert in_it(AbsoluteBlock(), image) == []
        (finding,) = in_it(AbsoluteBlock(), Image(bytes(torn)))
        assert (finding.kind, finding.frame, finding.frames) == ("torn-feed", 90, 15)
        assert "in the midst of what fails its check" in finding.message


class TestSplice:
    def test_a_long_blank_between_lines_is_noted(self):
        image = Text().build(TextContent(LISTING, leader=60))
        at = image.frames.index(b"\n", 500) + 1
        (finding,) = found(put_in(image, at, bytes(70)))
        assert (finding.kind, finding.severity) == ("splice", Severity.NOTE)
        assert (finding.frame, finding.frames) == (at, 70)

    def test_a_long_blank_in_a_line_is_a_warning(self):
        image = put_in(Text().build(TextContent(LISTING, leader=60)), 75, bytes(70))
        (finding,) = found(image)
        assert (finding.kind, finding.severity) == ("splice", Severity.WARNING)

    def test_a_long_blank_between_blocks_that_else_lie_close_is_noted(self):
        runs = {0x100 * at: bytes([at]) * 20 for at in range(1, 9)}
        image = AbsoluteBlock().build(BlockProgram(runs))
        at = 60 + 27 * 3
        (finding,) = in_it(AbsoluteBlock(), put_in(image, at, bytes(80)))
        assert (finding.kind, finding.severity) == ("splice", Severity.NOTE)
        assert (finding.frame, finding.frames) == (at, 80)

    def test_a_program_cut_off_before_another_is_a_splice(self):
        content = BlockProgram({0x200: bytes(range(1, 101))}, trailer=0)
        whole = AbsoluteBlock().build(content)
        image = Image(whole.frames[:-7] + bytes(90) + whole.frames[60:])
        view, reader = View(image), AbsoluteBlock()
        first = reader.parse(view.part(Span(0, len(whole))))
        second = shifted(reader.parse(view.part(Span(len(whole), len(image)))), len(whole))
        parts = [Part(PartKind.PROGRAM, each.data, each) for each in (first, second)]
        (finding,) = damage_findings(view, parts)
        assert (finding.kind, finding.frame) == ("splice", first.data.stop)
        assert "where a program ends too soon" in finding.message

    def test_a_second_program_behind_an_end_record_is_no_splice(self):
        first = IntelHex().build(HexProgram({0: b"AB"}))
        second = IntelHex().build(HexProgram({0x100: b"CD"}))
        assert found(Image(first.frames + second.frames)) == []


class TestChannels:
    @pytest.mark.parametrize(("levels", "used"), [(0x1F, 5), (0x3F, 6)])
    def test_a_narrow_tape_read_as_a_wide_one_is_told(self, levels, used):
        noise = bytes(frame & levels for frame in random.Random(1).randbytes(600))
        (finding,) = found(Image(noise), 8)
        assert finding.kind == "wrong-levels"
        assert f"seems to have {used} levels, not 8" in finding.message

    def test_a_telegram_read_with_eight_levels_is_told(self):
        frames = CODES["ita2"].write("\r\n".join(TELEGRAM).encode(), Parity.NONE)
        assert [each.kind for each in found(Image(frames), 8)] == ["wrong-levels"]

    @pytest.mark.parametrize("always", [True, False])
    def test_a_channel_that_never_changes_is_told(self, always):
        frames = Text().build(TextContent(LISTING)).frames[60:-60]
        stuck = bytes(frame | 2 if always else frame & ~2 for frame in frames)
        found_there = found(Image(bytes(60) + stuck))
        assert [each.kind for each in found_there] == ["stuck-channel"]
        how = "always" if always else "never"
        assert f"channel 2 is {how} punched" in found_there[0].message

    def test_a_stuck_channel_shows_in_mark_parity_too(self):
        frames = Text().build(TextContent(LISTING, Parity.MARK)).frames[60:-60]
        stuck = bytes(frame & ~2 for frame in frames)
        assert [each.kind for each in found(Image(stuck))] == ["stuck-channel"]

    @pytest.mark.parametrize("parity", [Parity.MARK, Parity.SPACE])
    def test_channel_8_of_a_control_tape_is_needed_for_parity(self, parity):
        (finding,) = found(NcProgram().build(NcContent(CONTROL, "iso-646", parity)))
        assert (finding.kind, finding.severity) == ("stuck-channel", Severity.NOTE)
        assert "channel 8" in finding.message

    def test_an_eighth_channel_without_use_is_noted_on_an_unknown_tape(self):
        noise = bytes(frame & 0x7F or 1 for frame in random.Random(2).randbytes(2000))
        assert [each.severity for each in found(Image(noise), 8)] == [Severity.NOTE]

    def test_short_tapes_tell_nothing(self):
        assert found(Image(bytes(frame & 0x1F for frame in range(1, 90))), 8) == []


def test_many_torn_places_are_bounded():
    text = b"".join(b":010000004%s1BE\r\n" % bytes(9) for _ in range(400))
    assert len(found(tape(text, Parity.SPACE))) <= 201
