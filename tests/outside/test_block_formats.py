"""Binary loader formats against the worked examples and rules of their descriptions.

Sources, named beside each check:
    Absolute binary blocks: the maker's Paper Tape Software Programming Handbook, editions of
        1971 and 1976, after two secondary descriptions.
    RIM and BIN: the maker's paper tape system handbook of the 12-bit machine; a secondary
        description for channels 7 and 8, field frames and rub-out comments; the checksum rule is
        from memory. The RIM loader itself is from memory, its logic traced by hand.
    Checksum-loader blocks: from memory; the record marks, the order of count, address and data,
        and the address in the sum fit a loader listing in a magazine of 1981.
    Python's own struct and sum stand in as a second reader and writer of each.
The programs in the examples are ours; their checksums were worked by hand.
"""

import struct

import pytest

from server.tape.blocks.program import BlockProgram
from server.tape.cpu.base import Memory
from server.tape.cpu.disassembly import disassemble
from server.tape.cpu.notation import Notation
from server.tape.cpu.twelve_bit import TwelveBit
from server.tape.findings import CheckStatus
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.bin12 import Bin12
from server.tape.formats.checksum_block import CheckedProgram, ChecksumBlock, Rule
from server.tape.formats.rim12 import Rim12
from server.tape.identify import decode
from server.tape.image import Image
from server.tape.twelve_bit.program import WordProgram
from server.tape.view import View
from tests.tape.block_tapes import octal

DATA_BLOCK = "01 00 0C 00 00 02 C0 15 07 00 00 00 15"
START_BLOCK = "01 00 06 00 00 02 F7"
END_BLOCK = "01 00 06 00 01 00 F8"

LOAD_RECORD = "3C 07 00 01 3E 41 D3 01 C3 00 01 18"
GO_RECORD = "78 00 01"

WORDS = bytes.fromhex("0E80 0283 0F02 0022")
RIM = "200 200 102 000 072 000 102 001 012 003 102 002 074 002 102 003 000 042 200 200"
BIN = "200 200 102 000 072 000 012 003 074 002 000 042 003 051 200 200"
BIN_FIELD_1 = "200 200 310 102 000 072 000 012 003 074 002 000 042 003 051 200 200"


class TestAbsoluteBlocks:
    """The handbook of 1971 and 1976, after two secondary descriptions."""

    def test_the_data_of_a_block_go_to_its_address(self):
        decoding = AbsoluteBlock().parse(View(Image(bytes.fromhex(DATA_BLOCK + START_BLOCK))))

        assert decoding.memory == {0x0200: bytes.fromhex("C01507000000")}
        assert decoding.entry_address == 0x0200
        assert decoding.check_status is CheckStatus.SOUND

    def test_an_odd_end_address_starts_nothing(self):
        decoding = AbsoluteBlock().parse(View(Image(bytes.fromhex(DATA_BLOCK + END_BLOCK))))

        assert decoding.entry_address is None
        assert decoding.findings == ()

    @pytest.mark.parametrize("blank", [1, 2, 50])
    def test_blank_frames_between_blocks_are_skipped(self, blank):
        tape = bytes.fromhex(DATA_BLOCK) + bytes(blank) + bytes.fromhex(START_BLOCK)

        assert AbsoluteBlock().parse(View(Image(tape))).check_status is CheckStatus.SOUND

    def test_we_write_the_worked_example(self):
        data = bytes.fromhex("C01507000000")
        started = AbsoluteBlock().build(BlockProgram({0x200: data}, 0x200, leader=0, trailer=0))
        stopped = AbsoluteBlock().build(BlockProgram({0x200: data}, leader=0, trailer=0))

        assert started.frames == bytes.fromhex(DATA_BLOCK + START_BLOCK)
        assert stopped.frames == bytes.fromhex(DATA_BLOCK + END_BLOCK)

    def test_every_block_that_we_write_sums_to_nothing(self):
        data = bytes(range(256)) * 3
        frames = AbsoluteBlock().build(BlockProgram({0x400: data}, leader=0, trailer=0)).frames
        at, read = 0, b""
        while at < len(frames):
            one, zero, count, address = struct.unpack_from("<BBHH", frames, at)
            assert (one, zero) == (1, 0)
            assert sum(frames[at : at + count + 1]) % 256 == 0
            assert count == 6 or address == 0x400 + len(read)
            read += frames[at + 6 : at + count]
            at += count + 1

        assert read == data

    @pytest.mark.parametrize("blocks", [DATA_BLOCK + START_BLOCK, START_BLOCK, END_BLOCK])
    def test_the_examples_are_known_for_what_they_are(self, blocks):
        assert decode(bytes(30) + bytes.fromhex(blocks) + bytes(30)).decoding.format == (
            "absolute-block"
        )


class TestChecksumBlocks:
    """From memory; fits a loader listing in a magazine of 1981."""

    def test_a_load_and_a_go_record(self):
        decoding = ChecksumBlock().parse(View(Image(bytes.fromhex(LOAD_RECORD + GO_RECORD))))

        assert decoding.memory == {0x0100: bytes.fromhex("3E41D301C30001")}
        assert decoding.entry_address == 0x0100
        assert (decoding.check_status, decoding.dialect) == (
            CheckStatus.SOUND,
            Rule.ADDRESS_AND_DATA,
        )

    def test_the_same_record_under_the_rule_without_the_address_ends_in_17(self):
        tape = bytes.fromhex(LOAD_RECORD[:-2] + "17" + GO_RECORD)
        decoding = ChecksumBlock().parse(View(Image(tape)))

        assert (decoding.check_status, decoding.dialect) == (CheckStatus.SOUND, Rule.DATA_ONLY)

    def test_we_write_the_worked_example(self):
        program = CheckedProgram(
            {0x100: bytes.fromhex("3E41D301C30001")}, 0x100, leader=0, trailer=0
        )

        assert ChecksumBlock().build(program).frames == bytes.fromhex(LOAD_RECORD + GO_RECORD)

    def test_the_example_is_known_for_what_it_is(self):
        tape = bytes(30) + bytes.fromhex(LOAD_RECORD + GO_RECORD)

        assert decode(tape).decoding.format == "checksum-block"


class TestTwelveBitTapes:
    """The paper tape system handbook; channels, fields and comments after a secondary source."""

    def test_rim_words_each_have_their_origin(self):
        decoding = Rim12().parse(View(Image(octal(RIM))))

        assert decoding.memory == {0o200: WORDS}

    def test_bin_words_go_on_from_their_origin(self):
        decoding = Bin12().parse(View(Image(octal(BIN))))

        assert decoding.memory == {0o200: WORDS}
        assert decoding.check_status is CheckStatus.SOUND

    def test_a_field_setting_moves_them_and_is_not_summed(self):
        decoding = Bin12().parse(View(Image(octal(BIN_FIELD_1))))

        assert decoding.memory == {0o10200: WORDS}
        assert decoding.check_status is CheckStatus.SOUND

    def test_the_checksum_is_the_sum_of_the_frames_with_the_origins_hole(self):
        frames = octal(BIN)[2:-4]

        assert sum(frames) % 0o10000 == 0o351
        assert octal(BIN)[-4:-2] == octal("003 051")

    def test_what_stands_between_rub_outs_is_skipped(self):
        comment = octal("200 200 377") + b"HARBOUR LAMPS" + octal("377")
        decoding = Bin12().parse(View(Image(comment + octal(BIN))))

        assert decoding.memory == {0o200: WORDS}
        assert decoding.check_status is CheckStatus.SOUND

    def test_we_write_the_worked_examples(self):
        program = WordProgram({0o200: WORDS}, leader=2, trailer=2)
        in_field_1 = WordProgram({0o10200: WORDS}, leader=2, trailer=2)

        assert Rim12().build(program).frames == octal(RIM)
        assert Bin12().build(program).frames == octal(BIN)
        assert Bin12().build(in_field_1).frames == octal(BIN_FIELD_1)

    @pytest.mark.parametrize(
        ("tape", "name"), [(RIM, "rim12"), (BIN, "bin12"), (BIN_FIELD_1, "bin12")]
    )
    def test_the_examples_are_known_for_what_they_are(self, tape, name):
        assert decode(octal(tape)).decoding.format == name

    def test_the_words_are_the_instructions_of_the_example(self):
        decoding = Bin12().parse(View(Image(octal(BIN))))
        memory = Memory(decoding.memory, decoding.cell_bytes)
        listing = disassemble(memory, TwelveBit(), [0o200], Notation.OCTAL)

        assert [each.text for each in listing.statements][:3] == ["CLA", "TAD L0203", "HLT"]

    def test_the_rim_loader_of_the_console_reader_is_carried_whole(self):
        words = octal_words(
            "6032 6031 5357 6036 7106 7006 7510 5357 7006 6031 5367 6034 7420 3776 3376 5356 0000"
        )
        image = Rim12().build(WordProgram({0o7756: words}))

        assert Rim12().parse(View(image)).memory == {0o7756: words}


def octal_words(text: str) -> bytes:
    return b"".join(int(word, 8).to_bytes(2, "big") for word in text.split())
