import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus, Severity
from server.tape.formats.base import Decoding, LoadRange
from server.tape.formats.tek_hex import TekHex
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Image, Orientation
from server.tape.view import View
from tests.tape.hex_tapes import flipped, kinds, of_kind, programs, view

FORMAT = TekHex()
DATA, END = b"/010007083E41D301C3000137", b"/01000001"


def parse(text: bytes, parity: Parity = Parity.EVEN) -> Decoding:
    return FORMAT.parse(view(text, parity))


def record(address: int, data: bytes) -> bytes:
    def summed(digits: str) -> str:
        return f"{digits}{sum(int(digit, 16) for digit in digits) & 0xFF:02X}"

    return b"/" + (summed(f"{address:04X}{len(data):02X}") + summed(data.hex().upper())).encode()


@given(programs())
def test_a_program_punched_is_read_again(program):
    decoding = FORMAT.parse(View(FORMAT.build(program)))
    assert decoding.memory == program.memory
    # The last record gives some address; that it means one shows where zero is loaded.
    unsaid = 0 if 0 in program.memory else None
    assert decoding.entry_address == (program.entry_address or unsaid)
    assert decoding.check_status is CheckStatus.SOUND
    assert set(kinds(decoding)) <= {"address-gap"}


@given(st.binary(min_size=1, max_size=400) | st.text("0123456789ABCDEF/\r\n").map(str.encode))
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


def test_an_entry_at_zero_is_read_where_the_tape_loads_zero():
    at_zero = HexProgram({0: b"a"}, entry_address=0)
    assert FORMAT.parse(View(FORMAT.build(at_zero))).entry_address == 0
    assert parse(DATA + b"/00000000").entry_address is None
    assert parse(DATA).entry_address is None


def test_a_record_of_255_bytes_is_read_again():
    program = HexProgram({0x100: bytes(range(255))}, record_length=255)
    assert FORMAT.parse(View(FORMAT.build(program))).memory == program.memory


def test_where_the_sender_broke_off_is_told():
    decoding = parse(DATA + b"\r\n//PROM NOT ERASED\r\n")
    found = of_kind(decoding, "abort-record")
    assert [each.severity for each in found] == [Severity.WARNING]
    assert "saying '//PROM NOT ERASED'" in found[0].message
    assert kinds(decoding) == ["end-record-missing", "abort-record"]


def test_text_between_records_is_skipped():
    assert kinds(parse(b"TITLE\r" + DATA + b"\rREMARK\r" + END)) == ["text-outside-records"] * 2


def test_a_record_past_ffff_goes_on_at_zero():
    decoding = parse(record(0xFFFE, b"ABCD") + b"\r\n" + END)
    assert decoding.memory == {0: b"CD", 0xFFFE: b"AB"}
    assert of_kind(decoding, "address-wrap")[0].severity is Severity.WARNING


class TestFailingRecords:
    def test_each_checksum_is_named_and_the_bytes_are_loaded(self):
        head = of_kind(parse(DATA.replace(b"/01000708", b"/01000709") + END), "checksum-mismatch")
        data = of_kind(parse(DATA[:-1] + b"8" + END), "checksum-mismatch")
        both = of_kind(parse(DATA[:8] + b"9" + DATA[9:-1] + b"8" + END), "checksum-mismatch")
        assert "has the head checksum 09 where its digits call for 08" in head[0].message
        assert "has the data checksum 38 where its digits call for 37" in data[0].message
        assert "call for 08 and has the data checksum 38" in both[0].message
        assert parse(DATA[:-1] + b"8" + END).memory == {0x100: bytes.fromhex("3E41D301C30001")}

    def test_one_unreadable_digit_is_told_by_the_sum_and_two_are_not(self):
        assert kinds(parse(DATA.replace(b"3E", b"sE") + END)) == ["not-hexadecimal"]
        assert "is 3E, and" in parse(DATA.replace(b"3E", b"sE") + END).findings[0].advice
        both = parse(DATA.replace(b"3E", b"ss") + END)
        assert (kinds(both), both.memory) == (["not-hexadecimal"], {})

    def test_a_wrong_length_is_told_by_the_line(self):
        decoding = parse(DATA.replace(b"/010007", b"/010017") + b"\r\n" + END)
        (finding,) = decoding.findings
        assert "gives its length as '17'; its line has the length 07" in finding.message
        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}

    def test_a_damaged_end_record_is_told_by_its_one_checksum(self):
        (finding,) = parse(DATA + b"\r\n/01000002").findings
        assert "has the head checksum 02 where its digits call for 01" in finding.message

    def test_a_dropped_frame_is_told_with_what_would_mend_it(self):
        decoding = parse(DATA.replace(b"D3", b"D") + b"\r\n" + END)
        (finding,) = of_kind(decoding, "frame-dropped")
        # Sums of digits tell the digit, and not its place.
        assert "'3' is put in before character 10" in finding.advice
        assert "more ways" in finding.advice

    def test_a_short_head_is_not_read(self):
        decoding = parse(DATA + b"\r\n/010z\r\n/0100070\r\n")
        assert "record-truncated" in kinds(decoding) or "frame-dropped" in kinds(decoding)


class TestRecognise:
    @pytest.mark.parametrize("orientation", Orientation)
    def test_a_tape_is_known_whichever_way_it_lay(self, orientation):
        image = FORMAT.build(HexProgram({0x200: bytes(range(200))}))
        decoded = decode(image.turned(orientation).frames)
        assert (decoded.decoding.format, decoded.orientation) == ("tek-hex", orientation)
        assert decoded.decoding.load_ranges == (LoadRange(0x200, 0x2C7),)

    @pytest.mark.parametrize("line_end", [b"\r\n", b"\r", b""])
    def test_it_does_not_claim_a_tape_read_backwards(self, line_end):
        image = FORMAT.build(HexProgram({0: bytes(range(256)) * 4}, line_end=line_end))
        evidence = FORMAT.recognise(View(image, Orientation.REVERSED))
        assert evidence is None or evidence.confidence < 0.2

    def test_it_does_not_claim_dates_or_five_levels(self):
        evidence = FORMAT.recognise(view(b"SEEN ON 3/12345678 AND 4/87654321, OR SO\r\n" * 9))
        assert evidence is None or evidence.confidence < 0.2
        assert FORMAT.recognise(View(Image(bytes(range(32)), 5))) is None


@pytest.mark.parametrize(
    ("program", "what"),
    [
        (HexProgram({0xFFFF: b"ab"}), "outside the addresses 0 to FFFF"),
        (HexProgram({0: b"a"}, record_length=256), "cannot carry 256 bytes"),
    ],
)
def test_what_the_records_cannot_carry_is_refused(program, what):
    with pytest.raises(CannotBuild, match=what):
        FORMAT.build(program)
