import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.blocks.program import BlockProgram
from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus, Severity
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.base import Decoding, Loader, LoadRange
from server.tape.image import Image, Orientation
from server.tape.loading import LoadedBlock
from server.tape.view import View
from tests.tape.block_tapes import absolute_programs, doubled, dropped, flipped, kinds, of_kind

FORMAT = AbsoluteBlock()
DATA = random.Random(1).randbytes(30)
PROGRAM = BlockProgram({0o1000: DATA}, 0o1000, block_length=10, leader=20, trailer=20)
TAPE = FORMAT.build(PROGRAM)
"""Three blocks of 17 frames from frame 20 on, and an end block of 7."""

SECOND = 20 + 17


def parse(image: Image) -> Decoding:
    return FORMAT.parse(View(image))


def confidence(image: Image, orientation: Orientation = Orientation.AS_READ) -> float:
    evidence = FORMAT.recognise(View(image, orientation))
    return evidence.confidence if evidence else 0.0


@given(absolute_programs())
def test_a_program_punched_is_read_again(program):
    image = FORMAT.build(program)
    decoding = parse(image)
    assert decoding.memory == program.memory
    assert decoding.entry_address == program.entry_address
    assert decoding.check_status is CheckStatus.SOUND
    assert set(kinds(decoding)) <= {"address-gap"}
    assert confidence(image) >= 0.99


@given(st.binary(min_size=1, max_size=400) | st.lists(st.sampled_from(TAPE.frames)).map(bytes))
def test_any_frames_can_be_read_and_findings_lie_on_the_tape(frames):
    image = Image(frames or b"\0")
    FORMAT.recognise(View(image))
    decoding = parse(image)
    assert 0 <= decoding.data.start <= decoding.data.stop <= len(image)
    for found in (*decoding.findings, *decoding.listing):
        assert 0 <= found.frame < found.frame + found.frames <= len(image)


@given(absolute_programs(), st.data())
def test_a_hole_too_many_or_too_few_is_never_called_sound(program, data):
    image = FORMAT.build(program)
    span = View(image).data
    at = data.draw(st.integers(span.start, span.stop - 1))
    decoding = parse(flipped(image, (at, 1 << data.draw(st.integers(0, 7)))))
    if decoding.data.frames == span.frames:
        assert decoding.check_status is CheckStatus.DAMAGED


def test_the_facts_of_a_sound_tape():
    decoding = parse(TAPE)
    assert decoding.data == (20, 20 + 3 * 17 + 7)
    assert decoding.load_ranges == (LoadRange(0o1000, 0o1035),)
    assert (decoding.language, decoding.loader) == ("machine code", Loader.CHECKSUM_LOADER)
    assert decoding.blocks[1] == LoadedBlock(0o1012, 0o1023, SECOND, 17, sound=True)
    assert decoding.content == TAPE.frames[20:-20]


def test_each_line_of_the_octal_dump_lies_on_the_frames_of_its_bytes():
    first, second = parse(TAPE).listing
    assert first.text.startswith(f"001000  {DATA[1] << 8 | DATA[0]:06o} ")
    assert (first.key, first.frame) == (0o1000, 26)
    assert (second.key, second.frame) == (0o1020, SECOND + 6 + 6)
    assert first.frames == SECOND + 6 + 6 - 26


def test_an_odd_end_address_is_no_entry():
    tape = FORMAT.build(BlockProgram({0: b"AB"}, None))
    assert parse(tape).entry_address is None


def test_an_odd_entry_address_cannot_be_built():
    with pytest.raises(CannotBuild):
        FORMAT.build(BlockProgram({0: b"AB"}, 3))


@pytest.mark.parametrize(
    "program",
    [
        BlockProgram({0: b"A"}, block_length=0),
        BlockProgram({0xFFFF: b"AB"}),
        BlockProgram({-1: b"A"}),
        BlockProgram({0: b"AB", 1: b"C"}),
    ],
)
def test_what_no_block_can_carry_is_refused(program):
    with pytest.raises(CannotBuild):
        FORMAT.build(program)


def test_the_content_does_not_depend_on_gaps_and_leader():
    other = BlockProgram({0o1000: DATA}, 0o1000, block_length=10, gap=4, leader=3, trailer=0)
    assert parse(FORMAT.build(other)).content == parse(TAPE).content


class TestDamage:
    def test_a_wrong_hole_is_told_with_the_single_holes_that_close_the_block(self):
        decoding = parse(flipped(TAPE, (SECOND + 10, 0x04)))
        (finding,) = of_kind(decoding, "checksum-mismatch")
        was = TAPE.frames[SECOND + 10]
        assert (finding.frame, finding.frames) == (SECOND, 17)
        assert "the block for address 001012 has the checksum" in finding.message
        assert f"frame 11 of the block is {was:02X} and not {was ^ 4:02X}" in finding.advice
        assert "offered, not applied" in finding.advice
        assert decoding.check_status is CheckStatus.DAMAGED
        assert decoding.memory[0o1000][14] == DATA[14] ^ 4
        assert [block.sound for block in decoding.blocks] == [True, False, True]
        assert decoding.listing.lines[0].text.endswith("damaged")

    def test_two_wrong_holes_are_closed_by_none(self):
        decoding = parse(flipped(TAPE, (SECOND + 10, 0xFF), (SECOND + 11, 0x3C)))
        (finding,) = of_kind(decoding, "checksum-mismatch")
        assert "no single hole closes it" in finding.advice or "one hole" in finding.advice

    @pytest.mark.parametrize("at", range(6, 16))
    def test_a_dropped_frame_of_the_data_is_told_by_its_value(self, at):
        decoding = parse(dropped(TAPE, SECOND + at))
        (finding,) = of_kind(decoding, "frame-dropped")
        assert (finding.frame, finding.frames) == (SECOND, 16)
        assert f"closes with a frame {TAPE.frames[SECOND + at]:02X} put in" in finding.message
        assert [block.sound for block in decoding.blocks] == [True, False, True]

    @pytest.mark.parametrize("at", range(6, 16))
    def test_a_doubled_frame_of_the_data_is_told_by_its_place(self, at):
        decoding = parse(doubled(TAPE, SECOND + at))
        (finding,) = of_kind(decoding, "frame-doubled")
        assert (finding.frame, finding.frames) == (SECOND, 18)
        assert f"without frame {at + 2}" in finding.message
        assert f"which holds {TAPE.frames[SECOND + at]:02X}" in finding.message

    @pytest.mark.parametrize("at", range(4))
    def test_a_wrong_hole_in_mark_or_count_is_told_and_nothing_loaded(self, at):
        decoding = parse(flipped(TAPE, (SECOND + at, 0x02)))
        (finding,) = of_kind(decoding, "block-head-damaged")
        was = TAPE.frames[SECOND + at]
        assert f"closes with frame {at + 1} read as {was:02X}" in finding.message
        assert decoding.load_ranges == (LoadRange(0o1000, 0o1011), LoadRange(0o1024, 0o1035))

    @pytest.mark.parametrize("at", range(4))
    def test_a_dropped_frame_of_the_head_is_told(self, at):
        decoding = parse(dropped(TAPE, SECOND + at))
        (finding,) = of_kind(decoding, "frame-dropped")
        assert "the head of a block is damaged" in finding.message
        assert decoding.check_status is CheckStatus.DAMAGED

    def test_a_doubled_first_frame_stands_before_its_block(self):
        (finding,) = parse(doubled(TAPE, SECOND)).findings
        assert (finding.kind, finding.frame, finding.frames) == ("stray-frames", SECOND, 1)

    @pytest.mark.parametrize("at", range(1, 4))
    def test_a_doubled_frame_of_the_head_is_told(self, at):
        decoding = parse(doubled(TAPE, SECOND + at))
        (finding,) = of_kind(decoding, "frame-doubled")
        assert decoding.check_status is CheckStatus.DAMAGED
        assert finding.frame in range(SECOND, SECOND + 2)

    def test_several_dropped_frames_cut_a_block_short(self):
        decoding = parse(dropped(TAPE, SECOND + 8, 4))
        (finding,) = of_kind(decoding, "record-truncated")
        assert "has 13 frames where its count calls for 17" in finding.message

    def test_a_tape_torn_off_in_a_block_says_both(self):
        decoding = parse(Image(TAPE.frames[: SECOND + 12]))
        assert kinds(decoding) == ["record-truncated", "end-record-missing"]
        assert "and the tape ends" in decoding.findings[0].message
        assert decoding.load_ranges == (LoadRange(0o1000, 0o1017),)

    def test_a_dropped_frame_before_a_gap_is_told_as_well(self):
        tape = FORMAT.build(BlockProgram({0o1000: DATA}, 0o1000, block_length=10, gap=3))
        assert kinds(parse(dropped(tape, 60 + 20 + 8))) == ["frame-dropped", "address-gap"]

    def test_two_damaged_blocks_in_a_row_are_told_apart(self):
        decoding = parse(flipped(dropped(TAPE, 20 + 8), (SECOND - 1 + 9, 1)))
        assert kinds(decoding)[:2] == ["frame-dropped", "checksum-mismatch"]

    def test_stray_frames_between_blocks_cost_none_of_them(self):
        frames = TAPE.frames[:SECOND] + b"\x55\xaa\x33" + TAPE.frames[SECOND:]
        decoding = parse(Image(frames))
        (finding,) = decoding.findings
        assert (finding.kind, finding.frame, finding.frames) == ("stray-frames", SECOND, 3)
        assert decoding.memory == {0o1000: DATA}

    def test_a_missing_end_block_is_told(self):
        decoding = parse(Image(TAPE.frames[:-27] + bytes(20)))
        (finding,) = decoding.findings
        assert (finding.kind, finding.severity) == ("end-record-missing", Severity.WARNING)

    def test_a_damaged_end_block_still_ends_the_program(self):
        decoding = parse(flipped(TAPE, (20 + 3 * 17 + 6, 0x10)))
        assert kinds(decoding) == ["checksum-mismatch"]
        assert decoding.entry_address == 0o1000

    def test_a_program_behind_the_end_is_left_to_the_next_round(self):
        decoding = parse(Image(TAPE.frames + TAPE.frames))
        (finding,) = decoding.findings
        assert finding.kind == "data-after-end"
        assert decoding.data == (20, 20 + 3 * 17 + 7)

    def test_addresses_loaded_twice_are_told(self):
        program = FORMAT.build(BlockProgram({0: b"ABCD"}, leader=0, trailer=0)).frames[:-7]
        again = FORMAT.build(BlockProgram({2: b"CX"}, leader=0, trailer=0)).frames
        decoding = parse(Image(program + again))
        (finding,) = of_kind(decoding, "address-overlap")
        assert "this block loads addresses that were loaded before" in finding.message
        assert decoding.memory == {0: b"ABCX"}

    def test_a_block_past_the_highest_address_goes_on_at_zero(self):
        head = b"\1\0\x0a\0\xfe\xffABCD"
        block = head + bytes([-sum(head) & 0xFF])
        end = FORMAT.build(BlockProgram({}, leader=0, trailer=0)).frames
        assert parse(Image(block + end)).memory == {0xFFFE: b"AB", 0: b"CD"}

    def test_much_damage_is_passed_over_in_bounded_findings(self):
        block = FORMAT.build(BlockProgram({0: b"A"}, leader=0, trailer=0)).frames[:-7]
        decoding = parse(Image((block + b"\x77") * 3000 + TAPE.frames))
        assert len(decoding.findings) < 1000
        assert "was not looked into" in of_kind(decoding, "stray-frames")[-1].message or len(
            of_kind(decoding, "stray-frames")
        )
        assert decoding.entry_address == 0o1000


class TestRecognise:
    @pytest.mark.parametrize("orientation", list(Orientation)[1:])
    def test_it_does_not_claim_a_tape_that_lay_the_wrong_way(self, orientation):
        assert confidence(TAPE, orientation) < 0.5

    def test_it_is_less_sure_of_a_damaged_tape(self):
        assert 0.95 < confidence(flipped(TAPE, (SECOND + 9, 1))) < confidence(TAPE)

    def test_it_is_sure_of_marks_and_counts_where_no_checksum_closes(self):
        blocks = [20 + 16, 20 + 33, 20 + 50, 20 + 57]
        image = flipped(TAPE, *((at, 0x41) for at in blocks))
        assert 0.5 < confidence(image) <= 0.9

    def test_one_block_alone_among_other_frames_is_chance(self):
        noise = random.Random(3).randbytes(3000)
        assert confidence(Image(noise + TAPE.frames[20:37] + noise)) < 0.5

    def test_it_does_not_claim_noise_or_a_tape_of_seven_levels(self):
        assert confidence(Image(random.Random(2).randbytes(50_000))) < 0.5
        assert FORMAT.recognise(View(Image(b"\1\0\6\0", 7))) is None

    def test_a_program_long_after_another_is_read_as_second(self):
        text = b"A LONG TEXT STANDS HERE. " * 40
        assert confidence(Image(text + TAPE.frames[20:])) <= 0.9


def test_a_view_without_blocks_gives_an_empty_decoding():
    decoding = parse(Image(b"NOTHING OF THE KIND"))
    assert (decoding.content, len(decoding.listing), decoding.data.frames) == (b"", 0, 0)
    assert decoding.check_status is CheckStatus.NO_CHECK
