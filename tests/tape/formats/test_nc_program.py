import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.codes.base import Parity
from server.tape.codes.iso_646 import Iso646
from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus, Severity
from server.tape.formats.base import Decoding, Loader
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.nc_program import NcContent, NcProgram
from server.tape.formats.text import Text, TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Image, Orientation
from server.tape.nc.recognition import CLEAN, HALF, MENTIONED, MOSTLY
from server.tape.view import View
from tests.tape.hex_tapes import flipped, kinds, of_kind

FORMAT = NcProgram()
BLOCKS = (
    "%",
    "N10 G90 G00 X0 Y0 T01 M06",
    "N20 Z-5. S1200 M03",
    "/N30 G01 X12.5 Y-3.25 F250",
    "N40 (TURN THE PART) X-100 T12 F80.",
    "N50 M30",
)
CODES = [
    ("iso-840", Parity.EVEN),
    ("rs-244", Parity.ODD),
    ("iso-646", Parity.ODD),
    ("iso-646", Parity.MARK),
    ("iso-646", Parity.SPACE),
]


def punch(
    blocks: tuple[str, ...], code: tuple[str, Parity], leader: int = 60, trailer: int = 60
) -> Image:
    return FORMAT.build(NcContent(blocks, *code, leader, trailer))


def parse(*blocks: str, code: str = "iso-840") -> Decoding:
    return FORMAT.parse(View(FORMAT.build(NcContent(blocks, code))))


def confidence(image: Image) -> float:
    evidence = FORMAT.recognise(View(image))
    return evidence.confidence if evidence else 0.0


def lines_of(decoding: Decoding) -> tuple[str, ...]:
    return tuple(line.text for line in decoding.listing)


@st.composite
def programs(draw) -> tuple[str, ...]:
    number = st.integers(-99999, 99999).map(str) | st.sampled_from(["+5", "1.25", "-.5", "007."])
    word = st.tuples(st.sampled_from("GXYZUVWABCIJKRFSTDHMPQL"), number).map("".join)
    words = st.lists(word, min_size=1, max_size=5)
    gap = draw(st.sampled_from(["", " "]))
    blocks = draw(st.lists(words, min_size=2, max_size=8))
    skips = draw(st.lists(st.booleans(), min_size=len(blocks), max_size=len(blocks)))
    return (
        "%",
        *(
            "/" * skip + gap.join([f"N{10 * at}", *each])
            for at, (each, skip) in enumerate(zip(blocks, skips, strict=True), 1)
        ),
        "M30",
    )


@given(programs(), st.sampled_from(CODES), st.integers(0, 90), st.integers(0, 90))
def test_a_program_punched_is_listed_again(blocks, code, leader, trailer):
    image = punch(blocks, code, leader, trailer)
    decoding = FORMAT.parse(View(image))

    assert lines_of(decoding) == blocks
    assert [line.key for line in decoding.listing][1:-1] == [
        10 * at for at in range(1, len(blocks) - 1)
    ]
    assert decoding.findings == ()
    assert (decoding.code, decoding.data) == (code[0], (leader, len(image) - trailer))
    assert confidence(image) == CLEAN


@given(st.binary(min_size=1, max_size=400) | st.text("NGXM0123456789%/:(). \r\n").map(str.encode))
def test_any_frames_can_be_read_and_findings_lie_on_the_tape(frames):
    image = Image(frames or b"\0")
    FORMAT.recognise(View(image))
    decoding = FORMAT.parse(View(image))
    assert 0 <= decoding.data.start <= decoding.data.stop <= len(image)
    for found in (*decoding.findings, *decoding.listing):
        assert 0 <= found.frame < found.frame + found.frames <= len(image)


@given(st.sampled_from(CODES[:3]), st.data())
def test_a_flip_is_never_called_sound(code, data):
    image = punch(("%", "N1G01X5.5", "N2M30"), code, 0, 0)
    frame = data.draw(st.integers(0, len(image) - 1))
    channels = 1 << data.draw(st.integers(0, 7))
    # One frame is blank when its only hole is missed; another may become a rub-out.
    carries = image.frames[frame] ^ channels not in (0, 0x7F, 0xFF)
    decoding = FORMAT.parse(View(flipped(image, frame, channels)))
    assert decoding.check_status is CheckStatus.DAMAGED or not carries


@pytest.mark.parametrize("code", CODES)
def test_the_content_is_the_same_in_any_code(code):
    blocks = tuple(block.replace("(TURN THE PART) ", "") for block in BLOCKS)
    assert FORMAT.parse(View(FORMAT.build(NcContent(blocks, *code)))).content == b"\n".join(
        block.encode() for block in blocks
    )


def test_a_control_reads_the_tape_itself():
    decoding = parse(*BLOCKS)
    assert (decoding.language, decoding.loader) == ("nc", Loader.NONE)
    assert (decoding.check_status, decoding.parity) == (CheckStatus.SOUND, Parity.EVEN)
    assert decoding.entry_address is None


def test_each_block_is_tied_to_its_frames():
    image = FORMAT.build(NcContent(("%", "N1X2"), leader=5))
    decoding = FORMAT.parse(View(image))
    assert [tuple(line) for line in decoding.listing] == [("%", 5, 2, None), ("N1X2", 7, 5, 1)]


def test_facts_say_what_the_operator_must_know():
    assert parse(*BLOCKS).facts == (
        ("program length", "6 blocks in 117 frames"),
        ("block numbers", "N10 to N50"),
        ("blocks that may be skipped", "1"),
        ("tools", "T01, T12"),
        ("highest feed", "F250"),
        ("highest spindle speed", "S1200"),
        ("axis X", "X-100 to X12.5"),
        ("axis Y", "Y-3.25 to Y0"),
        ("axis Z", "Z-5. to Z-5."),
        ("ends with", "M30"),
    )


def test_a_program_without_numbers_or_axes_has_few_facts():
    assert parse("G04", "M02").facts == (
        ("program length", "2 blocks in 8 frames"),
        ("ends with", "M02"),
    )


def test_tools_beyond_two_dozen_are_counted():
    tools = dict(parse(*(f"N{at}T{at}" for at in range(1, 31))).facts)["tools"]
    assert tools.endswith("T24 and 6 more")


def test_words_in_brackets_are_not_obeyed():
    facts = dict(parse("N1 (X999 M30) X5", "N2 M02").facts)
    assert (facts["axis X"], facts["ends with"]) == ("X5 to X5", "M02")
    assert "program-end-missing" in kinds(parse("N1 (M30) X5", "N2 X6"))


@pytest.mark.parametrize(
    "block",
    ["N10", ":20X5", ":", "/N5X1", "/2N5X1", "N1 X 5 Y-.5", "N1\tX+5\tY2.", "%", "%1234", "(A) X5"],
)
def test_what_iso_6983_calls_a_block_is_one(block):
    assert kinds(parse("G00X0", block, "M30")) in ([], ["text-before-start"])


@pytest.mark.parametrize(
    ("block", "kind", "what"),
    [
        ("N20 G01 X Y5", "word-without-number", "the word X at character 9"),
        ("N20 G01 X5 10", "not-a-block", "'10' stands at its character 12"),
        ("N20 X5-", "not-a-block", "'-' stands at its character 7"),
        ("THE END OF THE PART", "not-a-block", "'THE END OF THE P…' stands"),
        ("N20 (X5", "not-a-block", "'(X5' stands at its character 5"),
    ],
)
def test_what_is_no_block_is_told_with_its_place(block, kind, what):
    decoding = parse("N10G00X0", block, "N30M30")
    (finding,) = decoding.findings
    assert (finding.kind, finding.severity) == (kind, Severity.WARNING)
    assert what in finding.message
    assert (finding.frame, finding.frames) == (69, len(block) + 1)


def test_numbers_that_repeat_or_go_back_are_noted():
    decoding = parse("N10G00X0", "N20X1", "N20X2", "N15X3", "N30M30")
    again, back = of_kind(decoding, "block-number-order")
    assert "N20 stands a second time" in again.message
    assert "N15 follows N20" in back.message
    assert decoding.check_status is CheckStatus.SOUND


def test_another_program_may_number_from_the_beginning():
    assert kinds(parse("%", "O1", "N10X0", "M30", "O2", "N10X0", "M99", "%", "N10X1", "M30")) == []


def test_a_program_without_end_warns():
    (finding,) = parse("N10G00X0", "N20X5").findings
    assert (finding.kind, finding.severity) == ("program-end-missing", Severity.WARNING)


def test_what_stands_before_the_start_is_for_people():
    (finding,) = parse("BRACKET, LEFT", "", "%", "N10G00X0", "M30").findings
    assert (finding.kind, finding.severity) == ("text-before-start", Severity.NOTE)
    assert "'BRACKET, LEFT'" in finding.message


def test_frames_in_no_table_are_shown_and_found():
    frames = bytearray(
        FORMAT.build(NcContent(("N1X5", "N2G01Y6", "M30"), "rs-244", leader=0)).frames
    )
    frames[3] = 0x0D
    frames[1:1] = b"\x5b"
    decoding = FORMAT.parse(View(Image(bytes(frames))))
    assert lines_of(decoding)[0].startswith("N{1A}1X{1A}")
    assert [each.frame for each in of_kind(decoding, "unknown-frame")] == [1, 4]


def test_a_wrong_hole_in_a_rs_244_frame_is_told_once_as_parity():
    image = flipped(FORMAT.build(NcContent(BLOCKS[:4] + BLOCKS[5:], "rs-244")), 70, 0x04)
    found = FORMAT.parse(View(image))
    assert [each.frame for each in of_kind(found, "parity-error")] == [70]
    assert of_kind(found, "unknown-frame") == []
    assert found.check_status is CheckStatus.DAMAGED


@pytest.mark.parametrize("line_end", [b"\r\n", b"\n\r", b"\r", b"\r\n\0\0\x7f"])
def test_later_line_ends_end_a_block_too(line_end):
    text = line_end.join(block.encode() for block in BLOCKS)
    decoding = FORMAT.parse(View(Image(Iso646().write(text, Parity.EVEN))))
    assert lines_of(decoding) == BLOCKS
    assert decoding.findings == ()


def test_what_is_no_program_after_its_end_is_left_to_others():
    text = "\n".join([*BLOCKS, "%", "DEAR MIRA,", "THE BRACKETS FIT."])
    image = Image(Iso646().write(text.encode(), Parity.EVEN))
    decoding = FORMAT.parse(View(image))
    assert lines_of(decoding) == (*BLOCKS, "%")
    assert decoding.data.stop == text.index("DEAR")


def test_a_blank_tape_has_no_blocks():
    decoding = FORMAT.parse(View(Image(bytes(20))))
    assert (lines_of(decoding), decoding.findings, decoding.data) == ((), (), (20, 20))
    assert FORMAT.recognise(View(Image(bytes(20)))) is None


class TestRecognise:
    @pytest.mark.parametrize("code", CODES)
    @pytest.mark.parametrize("orientation", Orientation)
    def test_a_tape_is_known_whichever_way_it_lay(self, code, orientation):
        blocks = tuple(block.replace("(TURN THE PART) ", "") for block in BLOCKS)
        image = punch(blocks, code, 40, 70).turned(orientation)
        decoded = decode(image.frames)
        found = decoded.decoding
        assert (found.format, found.code, decoded.orientation) == (
            "nc-program",
            code[0],
            orientation,
        )
        assert lines_of(found) == blocks
        assert (decoded.leader_frames, decoded.trailer_frames) == (40, 70)

    @pytest.mark.parametrize("orientation", list(Orientation)[1:])
    @pytest.mark.parametrize("code", CODES)
    def test_it_does_not_claim_a_tape_turned_wrongly(self, code, orientation):
        image = FORMAT.build(NcContent(BLOCKS[:4] * 5, *code))
        evidence = FORMAT.recognise(View(image, orientation))
        assert evidence is None or evidence.confidence < 0.2

    @pytest.mark.parametrize(
        ("spoilt", "sure"), [(0, CLEAN), (4, MOSTLY), (16, HALF), (30, MENTIONED)]
    )
    def test_spoilt_blocks_make_it_less_sure(self, spoilt, sure):
        blocks = ["N1 G01 X5 Y6"] * (40 - spoilt) + ["N1 G01 X5Y 6-"] * spoilt
        assert confidence(FORMAT.build(NcContent(tuple(blocks)))) == sure

    def test_of_two_blocks_one_may_be_spoilt(self):
        assert confidence(FORMAT.build(NcContent(("N5G01X3Y4.5-", "M30")))) == HALF
        assert confidence(FORMAT.build(NcContent(("N5-", "M30")))) == MENTIONED

    @pytest.mark.parametrize(
        "lines",
        [
            ("10 PRINT A", "20 GOTO 10", "30 N=5", "40 END") * 5,
            ("DEAR MIRA,", "THE READER CAME ON MONDAY.", "N WAS THERE.") * 5,
            ("A1 B2 C3 D4", "A5 B6 C7 D8") * 5,
            ("LDA X", "STA 5", "JMP L1", "L1 NOP") * 5,
            ("N1",),
        ],
    )
    def test_it_does_not_claim_other_texts(self, lines):
        assert confidence(Text().build(TextContent(lines))) < 0.2

    def test_it_does_not_claim_hexadecimal_records_or_other_levels(self):
        assert confidence(IntelHex().build(HexProgram({0: bytes(range(256))}))) < 0.2
        assert FORMAT.recognise(View(Image(bytes(range(32)), 5))) is None

    def test_parity_that_most_frames_break_is_no_program(self):
        frames = b"N10 G01 X5\n" * 20
        mixed = bytes(frame | 0x80 * (at % 3 == 0) for at, frame in enumerate(frames))
        assert confidence(Image(mixed)) < 0.2


@pytest.mark.parametrize(
    ("block", "code", "what"),
    [
        ("X5\nY6", "iso-840", "holds the end of a block"),
        ("X½", "iso-646", "no code of numerical control has '½'"),
        ("X=5", "rs-244", "no character '='"),
    ],
)
def test_what_a_code_cannot_carry_is_refused(block, code, what):
    with pytest.raises(CannotBuild, match=what):
        FORMAT.build(NcContent((block,), code))


LONG = 9_000_000
COSTLY = {
    "short blocks": b"N1\n",
    "one block": b"N1",
    "digits": b"1",
    "brackets": b"(",
    "line feeds": b"\n",
    "starts": b"%\n",
    "letters": b"X\n",
    "unknown": b"\x1a",
}


@pytest.mark.parametrize("name", COSTLY)
def test_a_costly_tape_gives_findings_in_bounded_number(name):
    text = Iso646().write(COSTLY[name], Parity.EVEN)
    view = View(Image(text * (LONG // len(text))))
    decoding = FORMAT.parse(view)
    assert len(decoding.findings) < 1000


def test_what_is_longer_than_any_roll_is_said_to_be_unread():
    text = Iso646().write(b"N1\n", Parity.EVEN)
    decoding = FORMAT.parse(View(Image(text * 130_000)))
    assert len(of_kind(decoding, "blocks-unread")) == 1
    assert of_kind(decoding, "blocks-unread")[0].frame == 360_000
