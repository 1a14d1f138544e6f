import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus, Severity
from server.tape.formats.base import Decoding, LoadRange
from server.tape.formats.semicolon_hex import SemicolonHex
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Image, Orientation
from server.tape.view import View
from tests.tape.hex_tapes import dropped, flipped, kinds, memories, of_kind, view

FORMAT = SemicolonHex()
DATA, END = b";060200A9418D00400001BF", b";0000010001"
MONITOR_LINE_END = b"\r\n\0\0\0\0\0\0"


def parse(text: bytes, parity: Parity = Parity.EVEN) -> Decoding:
    return FORMAT.parse(view(text, parity))


def record(address: int, data: bytes = b"") -> bytes:
    body = bytes([len(data)]) + address.to_bytes(2, "big") + data
    return b";" + (body + sum(body).to_bytes(2, "big")).hex().upper().encode()


@st.composite
def programs(draw) -> HexProgram:
    return HexProgram(
        memory=draw(memories()),
        record_length=draw(st.integers(1, 255)),
        parity=draw(st.sampled_from(Parity)),
        line_end=draw(st.sampled_from([b"\r\n", MONITOR_LINE_END, b"", b"\n"])),
        leader=draw(st.integers(0, 30)),
        trailer=draw(st.integers(0, 30)),
    )


@given(programs())
def test_a_program_punched_is_read_again(program):
    image = FORMAT.build(program)
    decoding = FORMAT.parse(View(image))
    assert decoding.memory == program.memory
    assert decoding.check_status is CheckStatus.SOUND
    assert set(kinds(decoding)) <= {"address-gap"}
    assert decoding.data == (program.leader, len(image) - program.trailer)


@given(st.binary(min_size=1, max_size=400) | st.text("0123456789ABCDEF;\r\n").map(str.encode))
def test_any_frames_can_be_read_and_findings_lie_on_the_tape(frames):
    image = Image(frames or b"\0")
    FORMAT.recognise(View(image))
    decoding = FORMAT.parse(View(image))
    assert 0 <= decoding.data.start <= decoding.data.stop <= len(image)
    for found in (*decoding.findings, *decoding.listing):
        assert 0 <= found.frame < found.frame + found.frames <= len(image)


@given(programs(), st.data())
def test_a_flip_is_never_called_sound(program, data):
    program = HexProgram(program.memory, leader=0, trailer=0)
    image = FORMAT.build(program)
    frame = data.draw(st.integers(0, len(image) - 1))
    hit = flipped(image, frame, 1 << data.draw(st.integers(0, 7)))
    assert FORMAT.parse(View(hit)).check_status is CheckStatus.DAMAGED


def test_data_and_the_end_are_read_with_what_follows_it():
    decoding = parse(DATA + MONITOR_LINE_END + END + MONITOR_LINE_END + b"\x13")
    assert decoding.memory == {0x200: bytes.fromhex("A9418D004000")}
    assert (decoding.findings, decoding.entry_address) == ((), None)
    assert decoding.data == (20, 20 + len(DATA) + 8 + len(END) + 8 + 1)


def test_xoff_far_behind_the_records_is_not_of_them():
    decoding = parse(DATA + b"\r\n" + END + b"\r\n" + bytes(100) + b"\x13")
    assert decoding.data.stop == 20 + len(DATA) + 2 + len(END) + 2


@pytest.mark.parametrize(
    ("end", "dialect"),
    [
        (b";0001020003", "the end record counts data records and ends in its sum"),
        (b";0001020102", "the end record counts data records and repeats its count"),
    ],
)
def test_both_rules_of_the_last_field_are_read_and_told(end, dialect):
    decoding = parse(b"".join(record(at, b"x") for at in range(258)) + end)
    assert (decoding.dialect, decoding.findings) == (dialect, ())


def test_an_end_record_may_count_bytes():
    decoding = parse(DATA + b"\r\n" + record(6))
    assert (decoding.dialect, decoding.findings) == ("the end record counts data bytes", ())


def test_where_both_rules_agree_only_the_count_is_told():
    assert parse(DATA + END).dialect == "the end record counts data records"


@pytest.mark.parametrize("count", [0, 2, 300])
def test_a_count_of_neither_is_damage(count):
    decoding = parse(DATA + b"\r\n" + record(count))
    (finding,) = decoding.findings
    assert (finding.kind, finding.severity) == ("count-mismatch", Severity.DAMAGE)
    assert f"counts {count}; 1 data records of 6 bytes" in finding.message


def test_a_damaged_end_record_is_not_believed_in_its_count():
    decoding = parse(DATA + b"\r\n;0000020001\r\n")
    assert kinds(decoding) == ["checksum-mismatch"]


def test_a_tape_without_end_says_so_and_has_no_dialect():
    decoding = parse(DATA)
    assert (kinds(decoding), decoding.dialect) == (["end-record-missing"], None)


def test_a_record_past_ffff_goes_on_at_zero():
    decoding = parse(record(0xFFFE, b"ABCD") + b"\r\n" + END)
    assert decoding.memory == {0: b"CD", 0xFFFE: b"AB"}
    assert of_kind(decoding, "address-wrap")[0].severity is Severity.WARNING


class TestFailingRecords:
    def test_a_wrong_sum_is_located_and_its_bytes_are_loaded(self):
        decoding = parse(DATA[:-2] + b"BE\r\n" + END)
        (finding,) = decoding.findings
        assert "address 0200 has the checksum 01BE where its bytes call for 01BF" in finding.message
        assert decoding.memory == {0x200: bytes.fromhex("A9418D004000")}

    def test_parity_and_sum_tell_the_digit(self):
        image = flipped(FORMAT.build(HexProgram({0x200: b"\xa9\x41\x8d"})), 60 + 9, 0x04)
        (finding,) = of_kind(FORMAT.parse(View(image)), "checksum-mismatch")
        assert "both right if character 10 is '4', its byte 41;" in finding.advice

    def test_an_unreadable_digit_of_the_sum_is_told_by_the_bytes(self):
        decoding = parse(DATA[:-1] + b"s\r\n" + END)
        (finding,) = decoding.findings
        assert "by the checksum that byte is BF" in finding.advice

    def test_a_dropped_frame_is_told_with_what_would_mend_it(self):
        image = FORMAT.build(HexProgram({0x200: bytes.fromhex("A9418D004000")}))
        decoding = FORMAT.parse(View(dropped(image, 60 + 9)))
        (finding,) = of_kind(decoding, "frame-dropped")
        assert "right if '4' is put in before character 10;" in finding.advice
        assert (finding.frame, finding.frames) == (60, 22)

    def test_a_frame_read_twice_is_told_with_what_would_mend_it(self):
        text = DATA[:9] + DATA[8:]
        (finding,) = of_kind(parse(text + b"\r\n" + END), "frame-doubled")
        assert "right if the '9' at character 9 is left out" in finding.advice
        assert finding.frames == len(text)


class TestRecognise:
    @pytest.mark.parametrize("orientation", Orientation)
    def test_a_tape_is_known_whichever_way_it_lay(self, orientation):
        image = FORMAT.build(HexProgram({0x200: bytes(range(200))}, line_end=MONITOR_LINE_END))
        decoded = decode(image.turned(orientation).frames)
        found = decoded.decoding
        assert (found.format, decoded.orientation) == ("semicolon-hex", orientation)
        assert found.load_ranges == (LoadRange(0x200, 0x2C7),)
        assert [part.kind for part in decoded.parts] == ["leader", "program", "trailer"]

    def test_it_does_not_claim_remarks_or_five_levels(self):
        assert FORMAT.recognise(view(b"MOV A,B ;A REMARK\r\n;12345\r\n" * 9)) is None
        assert FORMAT.recognise(View(Image(bytes(range(32)), 5))) is None


@pytest.mark.parametrize(
    ("program", "what"),
    [
        (HexProgram({0xFFFF: b"ab"}), "outside the addresses 0 to FFFF"),
        (HexProgram({0: b"a"}, entry_address=1), "no place for an entry address"),
        (HexProgram({0: b"a"}, record_length=256), "cannot carry 256 bytes"),
    ],
)
def test_what_the_records_cannot_carry_is_refused(program, what):
    with pytest.raises(CannotBuild, match=what):
        FORMAT.build(program)
