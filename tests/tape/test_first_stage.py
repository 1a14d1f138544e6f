"""What loads a program stands in front of it, and is shown as a part of its own."""

import random

import pytest

from server.tape.blocks.program import BlockProgram
from server.tape.findings import CheckStatus
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.bin12 import Bin12
from server.tape.formats.checksum_block import CheckedProgram, ChecksumBlock
from server.tape.formats.rim12 import Rim12
from server.tape.identify import Decoded, decode
from server.tape.image import Image, Orientation
from server.tape.parts import PartKind
from server.tape.twelve_bit.program import WordProgram
from tests.tape.block_tapes import octal
from tests.tape.code_tapes import invented_code

CHOOSE = random.Random(11)
DATA = CHOOSE.randbytes(200)
CHECKED = ChecksumBlock().build(CheckedProgram({0x100: DATA}, 0x100)).frames
WORDS = octal("000 001 007 007 002 003 016 021 006 012 011 005")
RIM = Rim12().build(WordProgram({0o7756: WORDS})).frames
BIN = Bin12().build(WordProgram({0o200: WORDS})).frames


def kinds(decoded: Decoded) -> list[tuple[str, str | None]]:
    return [
        (part.kind.value, part.decoding.format if part.decoding else None)
        for part in decoded.parts
        if part.kind not in (PartKind.LEADER, PartKind.TRAILER)
    ]


@pytest.mark.parametrize("orientation", Orientation)
def test_raw_frames_before_checked_blocks_are_a_first_stage(orientation):
    tape = Image(b"\xae" * 100 + CHOOSE.randbytes(90) + CHECKED).turned(orientation)

    decoded = decode(tape.frames)

    assert decoded.orientation == orientation
    assert decoded.decoding.format == "bootstrap+checksum-block"
    assert kinds(decoded) == [("first-stage", "unrecognised"), ("program", "checksum-block")]
    assert decoded.decoding.memory == {0x100: DATA}
    assert decoded.decoding.entry_address == 0x100
    assert "leader-byte" in [finding.kind for finding in decoded.decoding.findings]


def test_a_first_stage_that_is_known_for_code_is_one_all_the_same():
    code = invented_code("8080", 600, 0x100, seed=3)

    decoded = decode(bytes(20) + code + CHECKED)

    assert kinds(decoded) == [("first-stage", "raw-binary"), ("program", "checksum-block")]


def test_the_keyed_in_kind_of_loader_before_a_checked_program_is_a_first_stage():
    decoded = decode(RIM + BIN)

    assert decoded.decoding.format == "bootstrap+bin12"
    assert kinds(decoded) == [("first-stage", "rim12"), ("program", "bin12")]
    assert (decoded.decoding.cell_bytes, decoded.decoding.loader) == (2, "checksum loader")
    assert decoded.decoding.memory == {0o200: WORDS, 0o7756: WORDS}


def test_two_programs_on_a_tape_are_two_parts():
    other = Bin12().build(WordProgram({0o400: WORDS[:8]})).frames

    decoded = decode(BIN + other)

    assert kinds(decoded) == [("program", "bin12"), ("program", "bin12")]
    assert decoded.decoding.check_status is CheckStatus.SOUND
    assert [block.start for block in decoded.decoding.blocks] == [0o200, 0o400]


def test_stray_holes_in_the_leader_are_neither_program_nor_first_stage():
    frames = bytearray(BIN)
    frames[10], frames[30] = 0o204, 0o300

    decoded = decode(bytes(frames))

    assert kinds(decoded) == [("program", "bin12")]
    assert decoded.decoding.format == "bin12"


def test_a_few_frames_before_the_blocks_are_not_what_loads_them():
    tape = (
        bytes(20)
        + b"\x11\x22\x33\x44\x55\x66"
        + AbsoluteBlock().build(BlockProgram({0: DATA})).frames
    )

    decoded = decode(tape)

    assert kinds(decoded) == [("program", "unrecognised"), ("program", "absolute-block")]
    assert decoded.decoding.format == "absolute-block"


def test_the_coverage_map_lies_on_the_tape_as_it_was_read():
    image = Image(CHECKED).turned(Orientation.REVERSED)

    (first, second) = decode(image.frames).decoding.blocks

    assert (first.start, second.start) == (0x100, 0x180)
    assert first.frame + first.frames == len(image) - 60
    assert second.frame + second.frames == first.frame


def test_an_end_block_alone_is_a_program_that_starts_and_loads_nothing():
    end = AbsoluteBlock().build(BlockProgram({}, 0o1000, leader=0, trailer=0)).frames

    decoded = decode(end)

    assert (decoded.decoding.format, decoded.decoding.entry_address) == ("absolute-block", 0o1000)
    assert (decoded.decoding.blocks, len(decoded.decoding.listing)) == ((), 0)
