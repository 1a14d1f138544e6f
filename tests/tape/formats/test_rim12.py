import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding, Loader, LoadRange
from server.tape.formats.rim12 import Rim12
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

FORMAT = Rim12()
WORDS = octal("000 001 007 007 002 003 016 021 006 012 011 005")
TAPE = FORMAT.build(WordProgram({0o200: WORDS}, leader=20, trailer=20))
"""Six groups of four frames from frame 20 on."""


def parse(image: Image) -> Decoding:
    return FORMAT.parse(View(image))


def confidence(image: Image, orientation: Orientation = Orientation.AS_READ) -> float:
    evidence = FORMAT.recognise(View(image, orientation))
    return evidence.confidence if evidence else 0.0


@given(word_programs(fields=1, comment=False))
def test_a_program_punched_is_read_again(program):
    decoding = parse(FORMAT.build(program))
    assert decoding.memory == program.memory
    assert decoding.check_status is CheckStatus.NO_CHECK
    assert set(kinds(decoding)) <= {"address-gap"}


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


def test_the_facts_of_a_tape():
    decoding = parse(TAPE)
    assert decoding.data == (20, 44)
    assert decoding.load_ranges == (LoadRange(0o200, 0o205),)
    assert (decoding.cell_bytes, decoding.loader) == (2, Loader.KEYED_BOOTSTRAP)
    assert decoding.blocks == (LoadedBlock(0o200, 0o205, 20, 24, sound=True),)
    (line,) = decoding.listing
    assert line == ("0200  0001 3407 1003 7021 3012 4405", 20, 24, 0o200)


def test_a_dropped_frame_costs_its_word_alone():
    decoding = parse(dropped(TAPE, 20 + 4 + 2))
    (finding,) = of_kind(decoding, "frame-dropped")
    assert (finding.frame, finding.frames) == (24, 3)
    assert decoding.load_ranges == (LoadRange(0o200, 0o200), LoadRange(0o202, 0o205))
    assert decoding.check_status is CheckStatus.DAMAGED


def test_a_doubled_frame_costs_its_word_alone():
    (finding,) = of_kind(parse(doubled(TAPE, 20 + 4 + 2)), "frame-doubled")
    assert (finding.frame, finding.frames) == (24, 5)


def test_an_origin_without_its_hole_is_told_with_what_it_must_have_been():
    decoding = parse(flipped(TAPE, (24, 0o100)))
    (finding,) = of_kind(decoding, "origin-lost")
    assert "the fifth is an origin if its channel 7 is punched, 102" in finding.message
    assert decoding.load_ranges == (LoadRange(0o202, 0o205),)


def test_the_first_origin_lost_leaves_frames_without_an_address():
    decoding = parse(flipped(TAPE, (20, 0o100)))
    (finding,) = decoding.findings
    assert (finding.kind, finding.frame, finding.frames) == ("origin-lost", 20, 4)


def test_missing_words_are_told_by_their_frames():
    (finding,) = of_kind(parse(dropped(TAPE, 26, 2)), "record-truncated")
    assert "2 frames from one origin to the next where four are due" in finding.message


def test_a_hole_in_channel_8_is_told_and_the_word_kept():
    decoding = parse(flipped(TAPE, (27, 0o200)))
    (finding,) = decoding.findings
    assert (finding.kind, finding.frame) == ("unknown-frame", 27)
    assert decoding.memory == {0o200: WORDS}


class TestRecognise:
    def test_it_is_as_sure_as_a_format_without_checksum_can_be(self):
        assert confidence(TAPE) == 0.95
        assert 0.7 < confidence(dropped(TAPE, 26)) < 0.95

    @pytest.mark.parametrize("orientation", list(Orientation)[1:])
    def test_it_does_not_claim_a_tape_that_lay_the_wrong_way(self, orientation):
        assert confidence(TAPE, orientation) < 0.5

    def test_it_needs_leader_frames_and_more_than_one_word(self):
        assert confidence(Image(TAPE.frames[20:44])) < 0.5
        assert confidence(Image(TAPE.frames[:24] + TAPE.frames[44:])) < 0.5
        assert confidence(Image(TAPE.frames[:28] + TAPE.frames[44:])) == 0.85

    def test_it_does_not_claim_words_behind_a_common_origin_noise_or_text(self):
        assert confidence(Image(octal("200 200 102 000 000 001 000 002 000 003 200 200"))) < 0.5
        assert confidence(Image(random.Random(2).randbytes(5000))) < 0.5
        assert confidence(Image(b"X012Y345Z678\r\n" * 20)) < 0.5


def test_comments_and_fields_cannot_be_built():
    for program in (WordProgram({0: b"\0\1"}, comment="NO"), WordProgram({0o10000: b"\0\1"})):
        with pytest.raises(CannotBuild):
            FORMAT.build(program)


def test_a_view_without_a_program_gives_an_empty_decoding():
    decoding = parse(Image(b"\1\2\3"))
    assert (decoding.content, decoding.data.frames, decoding.cell_bytes) == (b"", 0, 2)
