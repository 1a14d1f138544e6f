import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus, Severity
from server.tape.formats.base import Decoding, Evidence, Loader, LoadRange
from server.tape.formats.intel_hex import IntelHex
from server.tape.hexadecimal.program import HexProgram
from server.tape.hexadecimal.recognition import MOST_PASS, SHAPE_ONLY
from server.tape.image import Image, Orientation
from server.tape.view import View
from tests.tape.hex_tapes import dropped, flipped, kinds, of_kind, programs, tape, view

FORMAT = IntelHex()
DATA, END = b":070100003E41D301C30001E1", b":00000001FF"
PROGRAM = HexProgram({0x100: bytes(range(64)), 0x200: b"TIDE TABLE"}, entry_address=0x100)


def parse(text: bytes, parity: Parity = Parity.EVEN) -> Decoding:
    return FORMAT.parse(view(text, parity))


def evidence_of(view: View) -> Evidence:
    evidence = FORMAT.recognise(view)
    assert evidence is not None
    return evidence


def record(kind: int, address: int, data: bytes = b"") -> bytes:
    body = bytes([len(data), address >> 8, address & 0xFF, kind]) + data
    return b":" + (body + bytes([-sum(body) & 0xFF])).hex().upper().encode()


@given(programs())
def test_a_program_punched_is_read_again(program):
    decoding = FORMAT.parse(View(FORMAT.build(program)))
    assert decoding.memory == program.memory
    assert decoding.entry_address == program.entry_address
    assert decoding.check_status is CheckStatus.SOUND
    assert set(kinds(decoding)) <= {"address-gap"}


@given(programs(limit=1 << 32))
def test_a_program_of_32_bits_is_read_again(program):
    decoding = FORMAT.parse(View(FORMAT.build(program)))
    joined = {r.start: r.end - r.start + 1 for r in decoding.load_ranges}
    assert joined == {start: len(data) for start, data in program.memory.items()}
    assert decoding.memory == program.memory
    assert decoding.entry_address == program.entry_address


def test_an_entry_at_zero_is_read_again():
    program = HexProgram({0: b"\xc3\0\0"}, entry_address=0)
    assert FORMAT.parse(View(FORMAT.build(program))).entry_address == 0


@given(st.binary(min_size=1, max_size=400) | st.text("0123456789ABCDEF:S\r\n").map(str.encode))
def test_any_frames_can_be_read_and_findings_lie_on_the_tape(frames):
    image = Image(frames or b"\0")
    FORMAT.recognise(View(image))
    decoding = FORMAT.parse(View(image))
    assert 0 <= decoding.data.start <= decoding.data.stop <= len(image)
    for found in (*decoding.findings, *decoding.listing):
        assert 0 <= found.frame < found.frame + found.frames <= len(image)


@given(programs(), st.data())
def test_damage_never_raises_and_a_flip_is_never_called_sound(program, data):
    program = HexProgram(program.memory, parity=Parity.EVEN, leader=0, trailer=0, line_end=b"\r\n")
    image = FORMAT.build(program)
    hit = flipped(
        image, data.draw(st.integers(0, len(image) - 1)), 1 << data.draw(st.integers(0, 7))
    )
    view = View(hit)
    decoding = FORMAT.parse(view)
    if view.characters().parity is Parity.EVEN:
        assert decoding.check_status is CheckStatus.DAMAGED


def test_the_facts_of_a_sound_tape():
    decoding = FORMAT.parse(View(FORMAT.build(PROGRAM)))
    assert decoding.check_status is CheckStatus.SOUND
    assert decoding.load_ranges == (LoadRange(0x100, 0x13F), LoadRange(0x200, 0x209))
    assert (decoding.language, decoding.loader) == ("machine code", Loader.ROM_MONITOR)
    assert (decoding.code, decoding.parity) == ("iso-646", Parity.EVEN)
    assert decoding.dialect == "16-bit addresses"
    (gap,) = decoding.findings
    assert "nothing is loaded at 0140 to 01FF (192 bytes)" in gap.message
    assert gap.severity is Severity.NOTE


def test_each_line_of_the_dump_lies_on_the_frames_of_its_records():
    decoding = parse(
        record(0, 0x0C, b"abcdefgh") + b"\r\n" + record(0, 0x20, b"xyz") + b"\r\n" + END
    )
    first, second, third = decoding.listing
    assert [line.key for line in decoding.listing] == [0, 0x10, 0x20]
    assert (first.frame, first.frames) == (second.frame, second.frames) == (20, 27)
    assert (third.frame, third.frames) == (20 + 29, 17)
    assert third.text == "0020  78 79 7A" + " " * 39 + "  |xyz             |"


def test_the_data_reach_from_the_first_record_to_its_last_line_end():
    decoding = parse(b"TITLE\r\n" + DATA + b"\r\n" + END + b"\r\nLABEL")
    assert decoding.data == (20 + 7, 20 + 7 + len(DATA) + 2 + len(END) + 2)


def test_the_content_is_the_same_in_any_dress():
    plain = FORMAT.parse(View(FORMAT.build(PROGRAM)))
    for parity in Parity:
        for line_end in (b"\n", b"\r\n\0\0\x7f", b""):
            dressed = HexProgram(
                PROGRAM.memory, PROGRAM.entry_address, parity=parity, line_end=line_end, leader=3
            )
            assert FORMAT.parse(View(FORMAT.build(dressed))).content == plain.content
    assert parse(b"A TITLE\r\n" + DATA.lower() + END).content == DATA + END
    assert parse(DATA + b" remark\r\n" + END).content == DATA + END


class TestFailingRecords:
    def test_a_wrong_checksum_is_located_and_its_bytes_are_loaded(self):
        decoding = parse(b"\r\n" + DATA[:-2] + b"E0\r\n" + END)
        (finding,) = of_kind(decoding, "checksum-mismatch")
        assert (finding.frame, finding.frames) == (22, len(DATA))
        assert "address 0100 has the checksum E0 where its bytes call for E1" in finding.message
        assert finding.severity is Severity.DAMAGE
        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}
        assert decoding.listing.lines[0].text.endswith("  damaged")
        assert decoding.check_status is CheckStatus.DAMAGED

    def test_parity_points_at_the_frame_and_the_checksum_at_the_byte(self):
        image = flipped(tape(DATA + b"\r\n" + END), 20 + 9, 0x01)
        decoding = FORMAT.parse(View(image))
        (finding,) = of_kind(decoding, "checksum-mismatch")
        assert "parity is broken at character 10" in finding.message
        assert "both right if character 10 is '3', its byte 3E; the bytes" in finding.advice
        assert [each.frame for each in of_kind(decoding, "parity-error")] == [29]

    def test_a_parity_error_in_the_mark_or_several_point_at_no_byte(self):
        image = flipped(flipped(tape(DATA + b"\r\n" + END), 29, 0x01), 32, 0x01)
        (finding,) = of_kind(FORMAT.parse(View(image)), "checksum-mismatch")
        assert "parity is broken at character 10, 13" in finding.message
        assert "right if" not in finding.advice.replace("both right if character 10 is '3'", "")

    def test_two_flips_that_the_checksum_misses_are_still_damage_by_parity(self):
        image = flipped(flipped(tape(DATA + b"\r\n" + END), 29, 0x01), 31, 0x01)
        decoding = FORMAT.parse(View(image))
        assert kinds(decoding) == ["parity-error", "parity-error"]
        assert decoding.check_status is CheckStatus.DAMAGED

    def test_an_unreadable_digit_is_told_by_the_checksum(self):
        decoding = parse(DATA.replace(b"3E", b"sE") + b"\r\n" + END)
        (finding,) = of_kind(decoding, "not-hexadecimal")
        assert "'s' at character 10 where hexadecimal digits are due" in finding.message
        assert "that byte is 3E" in finding.advice
        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}
        assert decoding.listing.lines[0].text.endswith("damaged")

    def test_a_digit_that_became_a_mark_does_not_split_its_record(self):
        text = record(0, 0x100, b"\x88\x12abcdef") + b"\r\n" + END
        decoding = parse(text.replace(b"88", b"8:"))
        assert kinds(decoding) == ["not-hexadecimal"]
        assert decoding.memory == {0x100: b"\x88\x12abcdef"}

    def test_a_digit_that_became_a_control_does_not_split_its_record(self):
        image = flipped(tape(DATA + b"\r\n" + END), 20 + 9, 0x20)
        decoding = FORMAT.parse(View(image))
        assert kinds(decoding) == ["not-hexadecimal", "parity-error"]
        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}

    def test_other_controls_between_records_belong_to_none(self):
        decoding = parse(DATA.replace(b"3E", b"sE") + b"\x13" + DATA[:-2] + b"00\x13" + END)
        assert kinds(decoding) == ["not-hexadecimal", "checksum-mismatch", "address-overlap"]

    def test_two_unreadable_bytes_are_not_loaded(self):
        decoding = parse(DATA.replace(b"3E41", b"!E!1") + b"\r\n" + END)
        (finding,) = of_kind(decoding, "not-hexadecimal")
        assert "'!' at character 10, '!' at character 12" in finding.message
        assert "none of the record was loaded" in finding.advice
        assert decoding.memory == {}

    def test_many_unreadable_digits_are_counted(self):
        decoding = parse(DATA.replace(b"3E41D301", b"!!!!!!!!") + b"\r\n" + END)
        assert "and 3 more where hexadecimal" in of_kind(decoding, "not-hexadecimal")[0].message

    def test_a_wrong_length_is_told_by_the_line(self):
        decoding = parse(DATA.replace(b":07", b":17") + b"\r\n" + END)
        (finding,) = of_kind(decoding, "length-mismatch")
        assert "gives its length as '17'; its line has the length 07" in finding.message
        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}

    def test_a_dropped_frame_costs_its_record_alone(self):
        image = FORMAT.build(PROGRAM)
        decoding = FORMAT.parse(View(dropped(image, 60 + 20)))
        (finding,) = of_kind(decoding, "frame-dropped")
        assert (finding.frame, finding.frames) == (60, 42)
        assert "is one digit short" in finding.message
        assert "none of the record was loaded" in finding.advice
        assert decoding.load_ranges == (LoadRange(0x110, 0x13F), LoadRange(0x200, 0x209))

    def test_short_records_without_line_ends_are_told_apart(self):
        decoding = parse(DATA[:-3] + DATA[:-5] + END)
        found = of_kind(decoding, "record-truncated")
        assert [(each.frame, each.frames) for each in found] == [(20, 22), (42, 20)]

    def test_a_tape_torn_off_in_a_record_says_both(self):
        decoding = parse(DATA + b"\r\n" + record(0, 0x200, b"abcdefgh")[:-6])
        assert kinds(decoding) == ["record-truncated", "end-record-missing"]

    @pytest.mark.parametrize("lost", [DATA[1:], b"z" + DATA[1:]])
    def test_a_record_without_its_mark_is_found_by_its_checksum(self, lost):
        decoding = parse(record(0, 0, b"AB") + b"\r\n" + lost + b"\r\n" + END)
        (finding,) = of_kind(decoding, "record-mark-missing")
        assert "the record for address 0100 has no record mark" in finding.message
        assert decoding.memory[0x100] == bytes.fromhex("3E41D301C30001")
        assert decoding.content == record(0, 0, b"AB") + lost.upper() + END

    def test_a_damaged_record_without_its_mark_is_not_loaded(self):
        decoding = parse(DATA + b"\r\n" + b"0701000" + b"\r\n" + b"07020000FFFFFFFF" + END)
        (finding,) = of_kind(decoding, "record-unread")
        assert "16 characters look like a record" in finding.message
        assert decoding.check_status is CheckStatus.DAMAGED

    def test_a_tape_of_failing_records_only_is_still_read(self):
        decoding = parse(DATA[:-4])
        assert kinds(decoding) == ["record-truncated", "end-record-missing"]
        assert decoding.check_status is CheckStatus.DAMAGED


class TestMemory:
    def test_overlaps_with_other_bytes_warn_and_with_equal_bytes_are_noted(self):
        parts = [record(0, 0, b"ABCD"), record(0, 2, b"CD"), record(0, 3, b"x"), END]
        decoding = parse(b"\r\n".join(parts))
        same, other = of_kind(decoding, "address-overlap")
        assert (same.severity, other.severity) == (Severity.NOTE, Severity.WARNING)
        assert "with the same bytes" in same.message
        assert "with other bytes" in other.message
        assert decoding.memory == {0: b"ABCx"}
        assert decoding.check_status is CheckStatus.SOUND

    def test_loading_downwards_is_noted_once(self):
        parts = [record(0, 0x20, b"c"), record(0, 0x10, b"b"), record(0, 0, b"a"), END]
        decoding = parse(b"\r\n".join(parts))
        (finding,) = of_kind(decoding, "address-order")
        assert "2 step back" in finding.message
        assert [line.key for line in decoding.listing] == [0, 0x10, 0x20]

    def test_a_record_past_ffff_goes_on_at_zero(self):
        decoding = parse(record(0, 0xFFFE, b"ABCD") + b"\r\n" + END)
        assert decoding.memory == {0: b"CD", 0xFFFE: b"AB"}
        assert of_kind(decoding, "address-wrap")[0].severity is Severity.WARNING

    def test_a_segment_wraps_in_itself_and_a_linear_base_does_not(self):
        segment = parse(record(2, 0, b"\x12\x00") + record(0, 0xFFFF, b"AB") + END)
        assert segment.memory == {0x12000: b"B", 0x21FFF: b"A"}
        linear = parse(record(4, 0, b"\x00\x01") + record(0, 0xFFFF, b"AB") + END)
        assert linear.memory == {0x1FFFF: b"AB"}

    def test_bases_hold_until_the_next(self):
        parts = [
            record(0, 0, b"a"),
            record(2, 0, b"\x10\x00"),
            record(0, 0, b"b"),
            record(4, 0, b"\x00\x20"),
            record(0, 0, b"c"),
            record(0, 1, b"d"),
            END,
        ]
        decoding = parse(b"\r\n".join(parts))
        assert decoding.memory == {0: b"a", 0x10000: b"b", 0x200000: b"cd"}
        assert decoding.dialect == "32-bit addresses"


class TestEnd:
    def test_a_missing_end_record_is_a_warning(self):
        (finding,) = parse(DATA).findings
        assert (finding.kind, finding.severity) == ("end-record-missing", Severity.WARNING)
        assert (finding.frame, finding.frames) == (20, len(DATA))

    def test_data_after_the_end_is_noted_shown_and_not_loaded(self):
        decoding = parse(DATA + b"\r\n" + END + b"\r\n" + record(0, 0, b"more") + b"\r\n")
        (finding,) = of_kind(decoding, "data-after-end")
        assert finding.severity is Severity.NOTE
        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}
        assert decoding.listing.lines[-1].text.endswith("|more            |  after the end record")

    def test_an_early_tape_ends_with_a_record_of_no_bytes(self):
        decoding = parse(DATA + b"\r\n" + record(0, 0x100))
        assert decoding.findings == ()
        assert decoding.entry_address == 0x100

    def test_a_damaged_end_record_ends_the_tape_only_where_nothing_follows(self):
        last = parse(DATA + b"\r\n:00000001F0")
        assert kinds(last) == ["checksum-mismatch"]
        amid = parse(b":00000001F0\r\n" + DATA)
        assert kinds(amid) == ["checksum-mismatch", "end-record-missing"]
        assert amid.memory != {}

    @pytest.mark.parametrize(
        ("start", "entry"),
        [
            (record(3, 0, bytes.fromhex("12003456")), 0x15456),
            (record(5, 0, bytes.fromhex("00012345")), 0x12345),
            (record(5, 0, bytes(4)), 0),
            (b"", None),
        ],
    )
    def test_a_start_record_gives_the_entry_address(self, start, entry):
        assert parse(DATA + start + END).entry_address == entry

    def test_the_entry_of_a_tape_without_end_is_unknown(self):
        assert parse(DATA).entry_address is None


def test_a_type_that_is_unknown_is_skipped_with_a_warning():
    decoding = parse(record(7, 0, b"??") + DATA + END)
    (finding,) = decoding.findings
    assert (finding.kind, finding.severity) == ("unknown-record-type", Severity.WARNING)
    assert "no type 07" in finding.message


def test_a_base_of_the_wrong_length_is_not_used():
    decoding = parse(record(4, 0, b"\x01") + DATA + END)
    assert "type 04 has 2 data bytes; this one has 1" in decoding.findings[0].message
    assert list(decoding.memory) == [0x100]


def test_text_outside_records_is_kept_as_a_note():
    decoding = parse(b"  TIDE TABLE, PUNCHED FOR THE HARBOUR  \r\n" + DATA + b" ;START\r\n" + END)
    title, remark = decoding.findings
    assert (title.kind, title.severity, title.frame) == ("text-outside-records", Severity.NOTE, 22)
    assert "'TIDE TABLE, PUNCHED FOR …'" in title.message
    assert (remark.frame, remark.frames) == (20 + 41 + len(DATA) + 1, 6)
    assert decoding.check_status is CheckStatus.SOUND


def test_lettering_in_the_leader_makes_no_parity_errors():
    lettering = bytes([0x40, 0x40, 0x7E, 0x40, 0x40, 0])
    records = FORMAT.build(HexProgram({0: bytes(200)}, leader=30)).frames
    decoding = FORMAT.parse(View(Image(bytes(20) + lettering * 3 + records)))
    assert set(kinds(decoding)) == {"text-outside-records"}
    assert decoding.check_status is CheckStatus.SOUND


def test_a_view_without_records_gives_an_empty_decoding():
    decoding = parse(b"NOTHING OF THE KIND")
    assert (decoding.content, len(decoding.listing)) == (b"", 0)
    assert decoding.check_status is CheckStatus.NO_CHECK


class TestRecognise:
    def test_it_is_sure_where_all_records_pass(self):
        evidence = evidence_of(View(FORMAT.build(PROGRAM)))
        assert evidence.confidence >= 0.99
        assert "all of the first 6 records pass" in evidence.reason

    def test_it_is_fairly_sure_where_most_pass(self):
        text = (DATA + b"\r\n") * 9 + DATA[:-2] + b"00\r\n"
        evidence = evidence_of(view(text))
        assert evidence.confidence == MOST_PASS
        assert "9 of the first 10" in evidence.reason

    def test_it_doubts_where_only_the_shape_is_there(self):
        assert evidence_of(view((DATA[:-2] + b"00\r\n") * 9)).confidence == SHAPE_ONLY

    @pytest.mark.parametrize(
        "text",
        [
            (b":0100000000000000 XYZ\r\n" + b":FF00000000\r\n") * 5,
            b"A RECORD READS " + DATA + b" OR SO, " + b"AND IS TOLD BY ITS COLON. " * 20,
        ],
    )
    def test_it_hardly_claims_text_of_another_kind(self, text):
        assert evidence_of(view(text)).confidence < 0.2

    @pytest.mark.parametrize("text", [b"10 PRINT A:B:C\r\n", b"WARNING: STOP", b":12:34"])
    def test_it_does_not_claim_text_with_colons(self, text):
        assert FORMAT.recognise(view(text)) is None

    @pytest.mark.parametrize("line_end", [b"\r\n", b""])
    def test_it_does_not_claim_a_tape_read_backwards(self, line_end):
        image = FORMAT.build(HexProgram({0: bytes(range(256)) * 4}, line_end=line_end))
        evidence = FORMAT.recognise(View(image, Orientation.REVERSED))
        assert evidence is None or evidence.confidence < 0.2

    def test_it_does_not_claim_a_tape_of_five_levels(self):
        assert FORMAT.recognise(View(Image(bytes(range(32)), 5))) is None

    def test_a_long_tape_is_judged_by_its_first_records(self):
        image = FORMAT.build(HexProgram({0: bytes(30_000)}))
        assert evidence_of(View(image)).confidence >= 0.99


def test_records_of_255_bytes_can_be_built_and_longer_ones_not():
    program = HexProgram({0: bytes(255)}, record_length=255)
    assert FORMAT.parse(View(FORMAT.build(program))).memory == {0: bytes(255)}
    with pytest.raises(CannotBuild):
        FORMAT.build(HexProgram({0: bytes(256)}, record_length=256))
