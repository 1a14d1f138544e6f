import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding, Loader, LoadRange
from server.tape.formats.checksum_block import CheckedProgram, ChecksumBlock, Rule
from server.tape.image import Image, Orientation
from server.tape.loading import LoadedBlock
from server.tape.view import View
from tests.tape.block_tapes import checked_programs, doubled, dropped, flipped, kinds, of_kind

FORMAT = ChecksumBlock()
DATA = random.Random(7).randbytes(30)
PROGRAM = CheckedProgram({0x100: DATA}, 0x100, block_length=10, leader=20, trailer=20)
TAPE = FORMAT.build(PROGRAM)
"""Three load records of 15 frames from frame 20 on, and a go record of 3."""

SECOND = 20 + 15


def parse(image: Image) -> Decoding:
    return FORMAT.parse(View(image))


def confidence(image: Image, orientation: Orientation = Orientation.AS_READ) -> float:
    evidence = FORMAT.recognise(View(image, orientation))
    return evidence.confidence if evidence else 0.0


@given(checked_programs())
def test_a_program_punched_is_read_again(program):
    decoding = parse(FORMAT.build(program))
    assert decoding.memory == program.memory
    assert decoding.entry_address == program.entry_address
    assert decoding.check_status is CheckStatus.SOUND
    assert set(kinds(decoding)) <= {"address-gap", "name-record"}


@given(st.binary(min_size=1, max_size=400) | st.lists(st.sampled_from(TAPE.frames)).map(bytes))
def test_any_frames_can_be_read_and_findings_lie_on_the_tape(frames):
    image = Image(frames or b"\0")
    FORMAT.recognise(View(image))
    decoding = parse(image)
    assert 0 <= decoding.data.start <= decoding.data.stop <= len(image)
    for found in (*decoding.findings, *decoding.listing):
        assert 0 <= found.frame < found.frame + found.frames <= len(image)


def test_the_facts_of_a_sound_tape():
    decoding = parse(TAPE)
    assert decoding.data == (20, 20 + 3 * 15 + 3)
    assert decoding.load_ranges == (LoadRange(0x100, 0x11D),)
    assert (decoding.language, decoding.loader) == ("machine code", Loader.CHECKSUM_LOADER)
    assert decoding.dialect == Rule.ADDRESS_AND_DATA
    assert decoding.blocks[1] == LoadedBlock(0x10A, 0x113, SECOND, 15, sound=True)
    assert decoding.listing.lines[0].text.startswith(f"0100  {DATA[0]:02X} {DATA[1]:02X} ")


@pytest.mark.parametrize("rule", [Rule.ADDRESS_AND_DATA, Rule.DATA_ONLY])
def test_the_rule_that_fits_is_told(rule):
    program = CheckedProgram({0x100: DATA}, 0x100, rule=rule)
    decoding = parse(FORMAT.build(program))
    assert (decoding.dialect, decoding.check_status) == (rule, CheckStatus.SOUND)


def test_where_the_address_adds_nothing_both_rules_fit():
    assert parse(FORMAT.build(CheckedProgram({0: DATA}, 0))).dialect == Rule.EITHER


def test_a_count_of_zero_stands_for_256():
    program = CheckedProgram({0x4000: bytes(range(256))}, 0x4000, block_length=256)
    image = FORMAT.build(program)
    assert image.frames[61] == 0
    assert parse(image).memory == program.memory


@pytest.mark.parametrize("name", [b"UPROG A, FOR THE HARBOUR\r", b"UTIDES2", b"UTID"])
def test_a_name_is_told_and_belongs_to_the_program(name):
    decoding = parse(Image(bytes(20) + name + TAPE.frames[18:]))
    (finding,) = decoding.findings
    assert (finding.kind, finding.frame, finding.frames) == ("name-record", 20, len(name))
    assert decoding.data.start == 20
    assert confidence(Image(name + TAPE.frames[20:])) >= 0.99


def test_a_leader_of_one_byte_is_told_with_its_length():
    decoding = parse(Image(b"\xae" * 100 + b"\x21\x10\x37" * 20 + TAPE.frames[20:]))
    (finding,) = decoding.findings
    assert (finding.kind, finding.frame, finding.frames) == ("leader-byte", 0, 100)
    assert "100 frames of AE" in finding.message
    assert decoding.data.start == 160


def test_a_blank_or_a_short_leader_is_not_told():
    assert parse(Image(b"\xae" * 5 + b"\x21\x10\x37" * 20 + TAPE.frames[20:])).findings == ()


def test_a_name_in_front_of_the_first_record_belongs_to_it_behind_a_first_stage():
    decoding = parse(Image(b"\x21\x10\x37" * 20 + b"UTID\r" + bytes(3) + TAPE.frames[20:]))
    assert decoding.data.start == 60


class TestDamage:
    def test_a_wrong_hole_is_told_with_the_single_holes_that_close_the_record(self):
        decoding = parse(flipped(TAPE, (SECOND + 7, 0x20)))
        (finding,) = of_kind(decoding, "checksum-mismatch")
        was = TAPE.frames[SECOND + 7]
        assert f"frame 8 of the block is {was:02X} and not {was ^ 0x20:02X}" in finding.advice
        assert decoding.check_status is CheckStatus.DAMAGED

    def test_a_wrong_hole_in_the_checksum_is_among_those_offered(self):
        decoding = parse(flipped(TAPE, (SECOND + 14, 0x80)))
        (finding,) = of_kind(decoding, "checksum-mismatch")
        was = TAPE.frames[SECOND + 14]
        assert f"has the checksum {was ^ 0x80:02X} where its frames call for {was:02X}" in (
            finding.message
        )

    @pytest.mark.parametrize("at", range(4, 14))
    def test_dropped_and_doubled_frames_are_told(self, at):
        value = TAPE.frames[SECOND + at]
        (short,) = of_kind(parse(dropped(TAPE, SECOND + at)), "frame-dropped")
        (long,) = of_kind(parse(doubled(TAPE, SECOND + at)), "frame-doubled")
        assert f"closes with a frame {value:02X} put in" in short.message
        assert f"without frame {at + 2}" in long.message

    @pytest.mark.parametrize("at", range(2))
    def test_a_damaged_head_is_told(self, at):
        decoding = parse(flipped(TAPE, (SECOND + at, 0x40)))
        assert "block-head-damaged" in kinds(decoding)
        assert LoadRange(0x100, 0x109) in decoding.load_ranges

    def test_a_surplus_frame_that_closes_nothing_is_told_as_such(self):
        frames = doubled(flipped(TAPE, (SECOND + 4, 0x11)), SECOND + 8)
        (finding,) = of_kind(parse(frames), "frame-doubled")
        assert "of the block" in finding.message or "none of them closes it" in finding.message

    def test_the_go_record_is_found_behind_a_damaged_last_record(self):
        decoding = parse(dropped(TAPE, 20 + 2 * 15 + 6, 3))
        assert decoding.entry_address == 0x100
        assert "record-truncated" in kinds(decoding)

    def test_a_missing_go_record_is_told(self):
        decoding = parse(Image(TAPE.frames[:-23] + bytes(20)))
        assert kinds(decoding) == ["end-record-missing"]
        assert decoding.entry_address is None

    def test_frames_after_the_go_record_are_told(self):
        decoding = parse(Image(TAPE.frames[:-20] + b"\x11\x22\x33\x44"))
        assert kinds(decoding) == ["data-after-end"]


class TestRecognise:
    @pytest.mark.parametrize("orientation", list(Orientation)[1:])
    def test_it_does_not_claim_a_tape_that_lay_the_wrong_way(self, orientation):
        assert confidence(TAPE, orientation) < 0.5

    def test_it_is_sure_of_one_record_and_a_go(self):
        assert confidence(Image(TAPE.frames[20 + 30 : -20])) >= 0.99

    @pytest.mark.parametrize("values", [(0, 0, 1, 0x3C), (0x3C, 0x78), (0, 0x3C, 0x55, 0x41, 0x0D)])
    def test_marks_that_are_common_on_a_tape_prove_little(self, values):
        choose = random.Random(5)
        for size in (40, 400, 4000):
            frames = bytes(choose.choice((*values, choose.randrange(256))) for _ in range(size))
            assert confidence(Image(frames)) < 0.5

    def test_it_does_not_claim_noise_or_a_tape_of_five_levels(self):
        assert confidence(Image(random.Random(2).randbytes(50_000))) < 0.5
        assert FORMAT.recognise(View(Image(bytes(range(32)), 5))) is None

    def test_a_long_tape_is_judged_by_its_first_records(self):
        image = FORMAT.build(CheckedProgram({0: random.Random(1).randbytes(0xF000)}, 0))
        assert confidence(Image(image.frames[:-63] * 2)) >= 0.99


@pytest.mark.parametrize(
    "program",
    [
        CheckedProgram({0: b"A"}, block_length=257),
        CheckedProgram({0: b"A"}, label="TIDES\n"),
        CheckedProgram({0: b"A"}, rule=Rule.EITHER),
    ],
)
def test_what_no_record_can_carry_is_refused(program):
    with pytest.raises(CannotBuild):
        FORMAT.build(program)
