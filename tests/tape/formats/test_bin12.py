import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding, Loader, LoadRange
from server.tape.formats.bin12 import Bin12
from server.tape.image import Image, Orientation
from server.tape.loading import LoadedBlock
from server.tape.twelve_bit.program import WordProgram
from server.tape.view import View
from tests.tape.block_tapes import (
    doubled,
    dropped,
    flipped,
    kinds,
    octal,
    of_kind,
    word_programs,
)

FORMAT = Bin12()
LEADER = "200 " * 10
WORDS = octal("000 001 007 007 002 003 016 021 006 012 011 005 003 003 017 000 004 010 002 014")
PROGRAM = WordProgram({0o200: WORDS}, leader=20, trailer=20)
TAPE = FORMAT.build(PROGRAM)
"""An origin at frame 20, ten words from frame 22 on, a checksum at frame 42."""


def parse(image: Image) -> Decoding:
    return FORMAT.parse(View(image))


def spelt(text: str) -> Image:
    return Image(octal(f"{LEADER}{text} {LEADER}"))


def confidence(image: Image, orientation: Orientation = Orientation.AS_READ) -> float:
    evidence = FORMAT.recognise(View(image, orientation))
    return evidence.confidence if evidence else 0.0


@given(word_programs())
def test_a_program_punched_is_read_again(program):
    image = FORMAT.build(program)
    decoding = parse(image)
    joined = {r.start: r.end - r.start + 1 for r in decoding.load_ranges}
    assert joined == {start: len(data) // 2 for start, data in program.memory.items()}
    assert decoding.memory == program.memory
    assert decoding.check_status is CheckStatus.SOUND
    assert set(kinds(decoding)) <= {"address-gap", "comment"}
    assert confidence(image) >= 0.99


@settings(max_examples=1500)
@given(word_programs(fields=1, lowest=0o7770))
def test_the_programs_drawn_near_the_end_of_memory_stay_within_it(program):
    program.check(fields=1)


@given(
    st.binary(min_size=1, max_size=300)
    | st.lists(st.sampled_from(octal("200 377 310 102 100 000 003 077 240"))).map(bytes)
)
def test_any_frames_can_be_read_and_findings_lie_on_the_tape(frames):
    image = Image(frames or b"\0")
    FORMAT.recognise(View(image))
    decoding = parse(image)
    assert 0 <= decoding.data.start <= decoding.data.stop <= len(image)
    for found in (*decoding.findings, *decoding.listing):
        assert 0 <= found.frame < found.frame + found.frames <= len(image)


@given(word_programs(comment=False), st.data())
def test_a_wrong_hole_is_never_called_sound(program, data):
    image = FORMAT.build(program)
    decoding = parse(image)
    at = data.draw(st.integers(decoding.blocks[0].frame, decoding.blocks[-1].frame))
    hit = parse(flipped(image, (at, 1 << data.draw(st.integers(0, 5)))))
    assert hit.check_status is CheckStatus.DAMAGED


def test_the_facts_of_a_sound_tape():
    decoding = parse(TAPE)
    assert decoding.data == (20, 44)
    assert decoding.load_ranges == (LoadRange(0o200, 0o211),)
    assert (decoding.language, decoding.loader) == ("machine code", Loader.CHECKSUM_LOADER)
    assert (decoding.cell_bytes, decoding.memory) == (2, {0o200: WORDS})
    assert decoding.memory_by_byte == {0o400: WORDS}
    assert decoding.blocks == (LoadedBlock(0o200, 0o211, 22, 20, sound=True),)
    assert decoding.content == TAPE.frames[20:44]


def test_each_line_of_the_octal_dump_lies_on_the_frames_of_its_words():
    first, second = parse(TAPE).listing
    assert first.text == "0200  0001 3407 1003 7021 3012 4405 1403 7400"
    assert (first.key, first.frame, first.frames) == (0o200, 22, 16)
    assert (second.text, second.key, second.frame) == ("0210  2010 1014", 0o210, 38)


def test_addresses_go_on_at_the_bottom_of_their_field():
    image = spelt("320 177 077 000 001 000 002 004 101")
    decoding = parse(image)
    assert decoding.memory == {0o27777: b"\0\1", 0o20000: b"\0\2"}


def test_fields_are_addresses_of_five_digits():
    decoding = parse(FORMAT.build(WordProgram({0o7776: WORDS[:4], 0o20100: WORDS[:2]})))
    assert decoding.load_ranges == (LoadRange(0o7776, 0o7777), LoadRange(0o20100, 0o20100))
    assert [line.text for line in decoding.listing] == [
        "07770" + " " * 32 + "0001 3407",
        "20100  0001",
    ]


def test_a_comment_is_skipped_and_told():
    program = WordProgram({0o200: WORDS}, comment="TIDES, VERSION 2", leader=20, trailer=20)
    decoding = parse(FORMAT.build(program))
    (finding,) = decoding.findings
    assert (finding.kind, finding.frame, finding.frames) == ("comment", 20, 18)
    assert "'TIDES, VERSION 2'" in finding.message
    assert decoding.data == (20, 62)
    assert decoding.content == parse(TAPE).content


def test_a_comment_behind_the_checksum_belongs_to_the_program():
    image = Image(TAPE.frames + b"\xffEND\xff" + TAPE.frames[:5])
    assert parse(image).data.stop == len(TAPE) + 5 + 5


def test_leader_too_short_to_be_known_as_such_is_part_of_the_program():
    frames = TAPE.frames[17:46]
    assert parse(Image(frames)).data == (0, len(frames))


def test_two_programs_on_a_tape_are_read_one_at_a_time():
    other = FORMAT.build(WordProgram({0o400: WORDS[:6]}, leader=20, trailer=20))
    image = Image(TAPE.frames + other.frames)
    decoding = parse(image)
    assert decoding.memory == {0o200: WORDS}
    assert decoding.data == (20, 44)


def test_words_of_nothing_before_the_trailer_are_kept():
    program = WordProgram({0o200: bytes(40)})
    assert parse(FORMAT.build(program)).memory == program.memory


class TestDamage:
    def test_a_wrong_hole_is_told_with_the_single_holes_that_close_it(self):
        decoding = parse(flipped(TAPE, (25, 0o020)))
        (finding,) = decoding.findings
        assert (finding.kind, finding.frame, finding.frames) == ("checksum-mismatch", 42, 2)
        assert f"frame 6 of the program is {TAPE.frames[25]:03o}" in finding.advice
        assert "offered, not applied" in finding.advice
        assert [block.sound for block in decoding.blocks] == [False]

    def test_a_wrong_hole_in_the_checksum_is_offered(self):
        decoding = parse(flipped(TAPE, (42, 0o040)))
        assert "if the checksum is" in decoding.findings[0].advice

    def test_several_wrong_holes_are_closed_by_none(self):
        decoding = parse(flipped(TAPE, (25, 0o025), (30, 0o012)))
        assert "no single hole closes it" in decoding.findings[0].advice

    @pytest.mark.parametrize("at", range(22, 42))
    def test_a_dropped_frame_is_told_by_its_value(self, at):
        decoding = parse(dropped(TAPE, at))
        (finding,) = of_kind(decoding, "frame-dropped")
        value = TAPE.frames[at]
        put_in = "with a frame {:03o} put in" if value else "so a frame {:03o} was dropped or"
        assert (
            f"the checksum closes{'' if value else ','} {put_in.format(value)}" in finding.message
        )
        assert (finding.frame, finding.frames) == (20, 21)
        assert all(line.text.endswith("damaged") for line in decoding.listing)

    @pytest.mark.parametrize("at", range(22, 42))
    def test_a_doubled_frame_is_told_by_its_place(self, at):
        decoding = parse(doubled(TAPE, at))
        if not TAPE.frames[at]:
            assert "a frame 000 was dropped or read twice" in decoding.findings[0].message
            return
        (finding,) = of_kind(decoding, "frame-doubled")
        named = finding.message.partition("without frame ")[2].partition(" of them")[0]
        assert str(at - 20 + 2) in named.split(" or ")

    def test_a_frame_lost_where_the_checksum_is_wrong_too_is_told_without_a_value(self):
        decoding = parse(flipped(dropped(TAPE, 30), (25, 0o077), (41, 0o077)))
        (finding,) = of_kind(decoding, "frame-dropped")
        assert "one was dropped, or one was read twice" in finding.message

    def test_a_hole_in_channel_8_is_told_and_the_word_is_kept(self):
        decoding = parse(flipped(TAPE, (25, 0o200)))
        (finding,) = decoding.findings
        assert (finding.kind, finding.frame) == ("unknown-frame", 25)
        assert decoding.check_status is CheckStatus.DAMAGED
        assert decoding.memory == {0o200: WORDS}
        assert decoding.listing.lines[0].text.endswith("damaged")

    def test_a_blank_frame_that_reads_as_leader_does_not_end_the_program(self):
        decoding = parse(flipped(TAPE, (22, 0o200)))
        assert TAPE.frames[22] == 0
        assert [(each.kind, each.frame) for each in decoding.findings] == [("unknown-frame", 22)]
        assert decoding.memory == {0o200: WORDS}

    def test_words_without_an_origin_are_not_loaded(self):
        decoding = parse(spelt("001 002 102 000 000 007 001 014"))
        (finding,) = of_kind(decoding, "origin-lost")
        assert "the first 2 frames stand before any origin" in finding.message
        assert decoding.memory == {0o200: b"\0\7"}

    def test_a_rub_out_without_a_fellow_is_told(self):
        decoding = parse(Image(TAPE.frames[:30] + b"\xff" + TAPE.frames[30:]))
        (finding,) = decoding.findings
        assert (finding.kind, finding.frame) == ("comment-open", 30)
        assert decoding.memory == {0o200: WORDS}

    def test_a_missing_checksum_is_told(self):
        decoding = parse(spelt("102 000 000 001 102 001"))
        assert kinds(decoding) == ["end-record-missing"]

    def test_addresses_loaded_twice_are_told_as_words(self):
        decoding = parse(spelt("102 000 000 001 102 000 000 002 002 007"))
        assert "with other words; the later ones stand" in decoding.findings[0].message
        assert decoding.memory == {0o200: b"\0\2"}


class TestRecognise:
    @pytest.mark.parametrize("orientation", list(Orientation)[1:])
    def test_it_does_not_claim_a_tape_that_lay_the_wrong_way(self, orientation):
        assert confidence(TAPE, orientation) < 0.5

    def test_without_a_checksum_that_closes_it_needs_leader_frames(self):
        bad = flipped(TAPE, (25, 0o025), (30, 0o012))
        assert 0.9 < confidence(bad) <= 0.95
        assert 0.5 < confidence(Image(bad.frames[20:])) < 0.7
        assert confidence(Image(bad.frames[20:44])) < 0.5

    def test_without_leader_frames_a_checksum_alone_makes_it_less_sure_than_of_text(self):
        assert 0.5 < confidence(Image(TAPE.frames[20:44])) < 0.97

    def test_a_few_frames_that_close_among_many_others_are_chance(self):
        others = "001 002 003 " * 30
        assert confidence(spelt(f"{others} 200 200 100 000 001 000 200 200 {others}")) < 0.5

    def test_it_does_not_claim_words_with_an_origin_each(self):
        rim = "100 001 000 007 100 002 000 010 100 003 000 011"
        assert confidence(spelt(rim)) < 0.5

    def test_it_does_not_claim_noise_text_or_a_tape_of_seven_levels(self):
        assert confidence(Image(random.Random(2).randbytes(5000))) < 0.5
        assert confidence(Image(b"N10G01X0012Y0034\r\nN20X0001\r\n" * 20)) < 0.5
        assert FORMAT.recognise(View(Image(b"\x40\x01\x02\x03", 7))) is None


@pytest.mark.parametrize(
    "program",
    [
        WordProgram({}),
        WordProgram({0: b"\x10\x00"}),
        WordProgram({0: b"\x01"}),
        WordProgram({0o77777: b"\0\1\0\2"}),
        WordProgram({0: b"\0\1\0\2", 1: b"\0\3"}),
        WordProgram({0: b"\0\1"}, comment="TWO\nLINES"),
        WordProgram({0: b"\0\1"}, leader=1),
    ],
)
def test_what_cannot_be_punched_is_refused(program):
    with pytest.raises(CannotBuild):
        FORMAT.build(program)


def test_a_view_without_a_program_gives_an_empty_decoding():
    decoding = parse(Image(b"\1\2\3"))
    assert (decoding.content, decoding.data.frames, decoding.cell_bytes) == (b"", 0, 2)
