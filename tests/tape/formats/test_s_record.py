from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus, Severity
from server.tape.formats import hex_decoding
from server.tape.formats.base import Decoding, Evidence, LoadRange
from server.tape.formats.s_record import SRecord
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Image, Orientation
from server.tape.view import View
from tests.tape.hex_tapes import dropped, flipped, kinds, of_kind, programs, view

FORMAT = SRecord()
DATA, END = b"S10A01003E41D301C30001DD", b"S9030100FB"
PROGRAM = HexProgram({0x100: bytes(range(64)), 0x200: b"TIDE TABLE"}, entry_address=0x100)


def parse(text: bytes, parity: Parity = Parity.EVEN) -> Decoding:
    return FORMAT.parse(view(text, parity))


def evidence_of(view: View) -> Evidence:
    evidence = FORMAT.recognise(view)
    assert evidence is not None
    return evidence


def record(kind: int, address: int, width: int = 2, data: bytes = b"") -> bytes:
    body = bytes([width + len(data) + 1]) + address.to_bytes(width, "big") + data
    return b"S%d" % kind + (body + bytes([~sum(body) & 0xFF])).hex().upper().encode()


@given(programs(), st.sampled_from([b"", b"TIDE TABLE"]))
def test_a_program_punched_is_read_again(program, header):
    decoding = FORMAT.parse(View(FORMAT.build(replace(program, header=header))))
    zero = 0 if 0 in program.memory else None
    assert decoding.memory == program.memory
    assert decoding.entry_address == (program.entry_address or zero)
    assert decoding.check_status is CheckStatus.SOUND
    assert set(kinds(decoding)) <= {"address-gap", "header-record"}


@given(programs(limit=1 << 32) | programs(limit=1 << 24))
def test_a_program_of_wider_addresses_is_read_again(program):
    decoding = FORMAT.parse(View(FORMAT.build(program)))
    zero = 0 if 0 in program.memory else None
    assert decoding.memory == program.memory
    assert decoding.entry_address == (program.entry_address or zero)


@given(st.binary(min_size=1, max_size=400) | st.text("0123456789ABCDEF:S\r\n").map(str.encode))
def test_any_frames_can_be_read_and_findings_lie_on_the_tape(frames):
    image = Image(frames or b"\0")
    FORMAT.recognise(View(image))
    decoding = FORMAT.parse(View(image))
    assert 0 <= decoding.data.start <= decoding.data.stop <= len(image)
    for found in (*decoding.findings, *decoding.listing):
        assert 0 <= found.frame < found.frame + found.frames <= len(image)


@given(programs(), st.data())
def test_a_flip_is_never_called_sound(program, data):
    image = FORMAT.build(HexProgram(program.memory, leader=0, trailer=0))
    frame = data.draw(st.integers(0, len(image) - 1))
    damaged = View(flipped(image, frame, 1 << data.draw(st.integers(0, 7))))
    decoding = FORMAT.parse(damaged)
    if damaged.characters().parity is Parity.EVEN:
        assert decoding.check_status is CheckStatus.DAMAGED


@given(programs(), st.data())
def test_a_dropped_frame_is_never_called_sound_unless_a_line_end_was_dropped(program, data):
    image = FORMAT.build(HexProgram(program.memory, leader=0, trailer=0, line_end=b"\n"))
    frame = data.draw(st.integers(0, len(image) - 1))
    if image.frames[frame] != 0x0A:
        decoding = FORMAT.parse(View(dropped(image, frame)))
        missing = of_kind(decoding, "end-record-missing")
        assert decoding.check_status is CheckStatus.DAMAGED or missing


def test_the_facts_of_a_sound_tape():
    decoding = FORMAT.parse(View(FORMAT.build(replace(PROGRAM, header=b"TIDES"))))
    assert decoding.check_status is CheckStatus.SOUND
    assert decoding.load_ranges == (LoadRange(0x100, 0x13F), LoadRange(0x200, 0x209))
    assert decoding.dialect == "16-bit addresses"
    header, gap = decoding.findings
    assert "the header reads 'TIDES'" in header.message
    assert "0140 to 01FF" in gap.message


def test_addresses_are_only_as_wide_as_needed():
    for limit, kinds_of_records in ((0x9000, b"S1 S9"), (0x19000, b"S2 S8"), (0x1900000, b"S3 S7")):
        image = FORMAT.build(HexProgram({limit: b"ab"}, parity=Parity.NONE, leader=0, trailer=0))
        lines = image.frames.split()
        assert (lines[0][:2], lines[-1][:2]) == tuple(kinds_of_records.split())


class TestFailingRecords:
    def test_a_wrong_checksum_is_located_and_its_bytes_are_loaded(self):
        decoding = parse(DATA[:-2] + b"DC\r\n" + END)
        (finding,) = decoding.findings
        assert "address 0100 has the checksum DC where its bytes call for DD" in finding.message
        assert (finding.frame, finding.frames) == (20, len(DATA))
        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}
        assert decoding.listing.lines[0].text.endswith("damaged")

    def test_wide_addresses_are_named_whole(self):
        decoding = parse(record(3, 0x123456, 4, b"a")[:-2] + b"00\r\n")
        assert "address 00123456" in of_kind(decoding, "checksum-mismatch")[0].message

    def test_an_unreadable_type_leaves_the_record_unloaded(self):
        decoding = parse(DATA + b"\r\n" + b"Sq" + record(1, 0x200, 2, b"ab")[2:] + b"\r\n" + END)
        (finding,) = of_kind(decoding, "record-unread")
        assert finding.severity is Severity.DAMAGE
        assert list(decoding.memory) == [0x100]

    def test_a_record_that_lost_its_letter_is_found(self):
        decoding = parse(record(1, 0, 2, b"ab") + b"\r\n" + DATA[1:] + b"\r\n" + END)
        assert kinds(decoding) == ["record-mark-missing", "address-gap"]
        assert sorted(decoding.memory) == [0, 0x100]

    def test_a_digit_told_by_the_checksum_is_loaded(self):
        decoding = parse(DATA.replace(b"3E", b"3/") + b"\r\n" + END)
        assert kinds(decoding) == ["not-hexadecimal"]
        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}


class TestCounts:
    def test_a_right_count_says_nothing(self):
        assert parse(DATA + record(5, 1) + END).findings == ()
        assert parse(DATA + record(6, 1, 3) + END).findings == ()

    @pytest.mark.parametrize("count", [record(5, 3), record(6, 3, 3)])
    def test_a_wrong_count_is_damage(self, count):
        (finding,) = parse(DATA + count + END).findings
        assert (finding.kind, finding.severity) == ("count-mismatch", Severity.DAMAGE)
        assert "the count is 3 data records; 1 can be read" in finding.message
        assert finding.frame == 20 + len(DATA)

    def test_a_lost_record_shows_in_the_count(self):
        image = FORMAT.build(HexProgram(PROGRAM.memory, line_end=b"\r\n", leader=0, trailer=0))
        lost = Image(image.frames[44 + 2 :])
        assert len(of_kind(FORMAT.parse(View(lost)), "count-mismatch")) == 1

    def test_many_records_are_counted_in_24_bits(self):
        image = FORMAT.build(HexProgram({0: bytes(0x10001)}, record_length=1))
        assert b"S604010001" in image.frames.translate(bytes(range(128)) * 2)
        assert FORMAT.parse(View(image)).findings == ()

    def test_a_count_that_fails_its_own_checksum_counts_nothing(self):
        decoding = parse(DATA + b"S503000300" + END)
        assert kinds(decoding) == ["checksum-mismatch"]


class TestEnd:
    def test_a_missing_end_record_is_a_warning(self):
        (finding,) = parse(DATA).findings
        assert (finding.kind, finding.severity) == ("end-record-missing", Severity.WARNING)

    def test_data_after_the_end_is_noted(self):
        decoding = parse(END + b"\r\n" + DATA)
        assert kinds(decoding) == ["data-after-end"]
        assert decoding.memory == {}
        assert decoding.listing.lines[0].text.endswith("after the end record")

    def test_an_entry_of_zero_counts_only_where_zero_is_loaded(self):
        assert parse(DATA + b"S9030000FC").entry_address is None
        assert parse(record(1, 0, 2, b"a") + b"S9030000FC").entry_address == 0

    def test_a_damaged_end_record_ends_the_tape_only_where_nothing_follows(self):
        assert kinds(parse(DATA + b"S903010000")) == ["checksum-mismatch"]
        assert "end-record-missing" in kinds(parse(b"S903010000" + DATA))


class TestOddRecords:
    def test_the_reserved_type_is_skipped_with_a_warning(self):
        decoding = parse(record(4, 0, 3) + DATA + END)
        (finding,) = decoding.findings
        assert (finding.kind, finding.severity) == ("unknown-record-type", Severity.WARNING)
        assert "no type S4" in finding.message

    @pytest.mark.parametrize(
        ("odd", "size"),
        [
            (record(3, 0x123456, 3), "short by 1 for its type S3"),
            (record(9, 0x100, 2, b"a"), "long by 1 for its type S9"),
        ],
    )
    def test_a_size_that_its_type_cannot_have_is_a_warning(self, odd, size):
        (finding,) = of_kind(parse(DATA + odd + END), "length-mismatch")
        assert size in finding.message
        assert finding.severity is Severity.WARNING

    def test_a_record_past_the_last_address_goes_on_at_zero(self):
        decoding = parse(record(1, 0xFFFF, 2, b"AB") + END)
        assert decoding.memory == {0: b"B", 0xFFFF: b"A"}
        assert "address-wrap" in kinds(decoding)

    def test_an_empty_header_says_nothing(self):
        assert parse(record(0, 0) + DATA + END).findings == ()


class TestRecognise:
    def test_it_is_sure_where_all_records_pass(self):
        assert evidence_of(View(FORMAT.build(PROGRAM))).confidence >= 0.99

    @pytest.mark.parametrize("text", [b"PRESS S1, THEN S2", b"S1 S2 S3", b"SEE SHEET S10"])
    def test_it_does_not_claim_text_with_letters(self, text):
        assert FORMAT.recognise(view(text)) is None

    @pytest.mark.parametrize("line_end", [b"\r\n", b""])
    def test_it_does_not_claim_a_tape_read_backwards(self, line_end):
        image = FORMAT.build(HexProgram({0: bytes(range(256)) * 4}, line_end=line_end))
        evidence = FORMAT.recognise(View(image, Orientation.REVERSED))
        assert evidence is None or evidence.confidence < 0.2

    def test_it_does_not_claim_a_tape_of_five_levels(self):
        assert FORMAT.recognise(View(Image(bytes(range(32)), 5))) is None


@pytest.mark.parametrize(
    "program",
    [
        HexProgram({0: b"a"}, record_length=253),
        HexProgram({0x10000: b"a"}, record_length=252),
        HexProgram(header=b"x" * 253),
    ],
)
def test_what_fits_no_record_is_refused(program):
    with pytest.raises(CannotBuild):
        FORMAT.build(program)


def test_a_dump_of_more_lines_than_any_tape_has_is_cut_and_its_memory_is_not(monkeypatch):
    monkeypatch.setattr(hex_decoding, "MOST_LINES", 3)
    starts = [0x100, 0x300, 0x500, 0x508, 0x700, 0x900]
    text = b"\n".join(record(1, start, data=b"AB") for start in starts)
    decoding = parse(text)
    (finding,) = of_kind(decoding, "lines-unlisted")
    assert [line.key for line in decoding.listing] == [0x100, 0x300, 0x500]
    assert list(decoding.memory) == [start for start, _ in decoding.load_ranges] == starts
    first = text.index(record(1, 0x700, data=b"AB"))
    assert (finding.frame - decoding.data.start, finding.frames) == (first, len(text) - first)
    assert (
        kinds(parse(b"\n".join(record(1, start, data=b"A") for start in starts[:3]))).count(
            "lines-unlisted"
        )
        == 0
    )


def test_a_dump_behind_the_end_record_is_cut_too(monkeypatch):
    monkeypatch.setattr(hex_decoding, "MOST_LINES", 1)
    text = b"\n".join(
        [record(1, 0x100, data=b"A"), record(9, 0), *(record(1, at, data=b"B") for at in (0, 64))]
    )
    decoding = parse(text)
    assert [line.key for line in decoding.listing] == [0x100, 0]
    assert len(of_kind(decoding, "lines-unlisted")) == 1
