"""Prepared tapes against readers of others, worked examples, and what the trade says of times.

Sources, named beside each check:
    bincopy and intelhex, Python libraries: each reads the records that we prepare.
    Maker's Paper Tape Software Programming Handbook, 1971 and 1976, after two secondary
    descriptions: blocks of the 16-bit minicomputer, worked by hand.
    Maker's paper tape system handbook of the 12-bit machine, after a secondary description, the
    checksum rule from memory: RIM and BIN frames, worked by hand.
    Three manuals of programmers for read-only memories: the Tektronix record of all ones.
    EIA RS-244-B and ISO 840, from memory: one block of each, worked by hand.
    ITU-T S.1 by baudot, a Python library.
    Times of the trade: common practice, no source.
"""

import io

import bincopy
import intelhex
import pytest
from baudot import decode_to_str
from baudot.codecs import ITA2_STANDARD
from baudot.handlers.hexbytes import HexBytesReader

from server.tape.blocks.program import BlockProgram
from server.tape.codes.iso_646 import Iso646
from server.tape.estimate import seconds
from server.tape.formats import FORMATS
from server.tape.formats.checksum_block import CheckedProgram
from server.tape.formats.nc_program import NcContent
from server.tape.formats.text import TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import Decoded, decode
from server.tape.preparing import Preparation, Reel, prepare
from server.tape.twelve_bit.program import WordProgram

MEMORY = {0x0100: bytes(range(5, 200)), 0x1000: b"ORRISBY" * 5}
ENTRY = 0x0100


def blocks(memory=None, entry=ENTRY) -> Decoded:
    program = CheckedProgram(memory or MEMORY, entry)
    return decode(FORMATS["checksum-block"].build(program).frames)


def content(reel: Reel) -> bytes:
    return reel.frames[slice(*reel.data)]


def characters(reel: Reel) -> str:
    return content(reel).translate(bytes(range(128)) * 2).decode("ascii")


class TestReadersOfOthers:
    """bincopy and intelhex: other people's readers take what we prepare."""

    def test_intelhex_reads_the_same_memory(self):
        reel = prepare(blocks(), Preparation(format="intel-hex")).reels[0]

        read = intelhex.IntelHex()
        read.loadhex(io.StringIO(characters(reel)))

        for start, run in MEMORY.items():
            assert bytes(read.tobinarray(start, size=len(run))) == run
        assert read.segments() == [(at, at + len(run)) for at, run in MEMORY.items()]

    @pytest.mark.parametrize(("into", "add"), [("intel-hex", "add_ihex"), ("s-record", "add_srec")])
    @pytest.mark.parametrize("length", [1, 16, 64])
    def test_bincopy_reads_the_same_memory(self, into, add, length):
        reel = prepare(blocks(), Preparation(format=into, record_length=length)).reels[0]

        read = bincopy.BinFile()
        getattr(read, add)(characters(reel))

        assert {each.address: bytes(each.data) for each in read.segments} == MEMORY

    def test_bincopy_reads_the_entry_address_of_s_records(self):
        reel = prepare(blocks(), Preparation(format="s-record")).reels[0]

        read = bincopy.BinFile()
        read.add_srec(characters(reel))

        assert read.execution_start_address == ENTRY

    @pytest.mark.parametrize("into", ["intel-hex", "s-record"])
    def test_reels_read_one_after_the_other_make_the_whole(self, into):
        prepared = prepare(blocks(), Preparation(format=into, frames_per_reel=500))
        assert len(prepared.reels) > 1

        read = bincopy.BinFile()
        for reel in prepared.reels:
            read.add(characters(reel))

        assert {each.address: bytes(each.data) for each in read.segments} == MEMORY

    def test_what_bincopy_writes_becomes_blocks_that_load_the_same(self):
        written = bincopy.BinFile()
        for start, run in MEMORY.items():
            written.add_binary(run, address=start)
        frames = Iso646().write(written.as_srec().encode("ascii"), next(iter(Iso646.parities)))
        source = decode(bytes(60) + frames + bytes(60))

        reel = prepare(source, Preparation(format="absolute-block")).reels[0]

        assert decode(reel.frames).decoding.memory == MEMORY

    def test_baudot_reads_the_five_level_text(self):
        lines = ("THE TIDE TABLE OF THE QUAY", "HIGH WATER 12.30 (NOON)")
        source = decode(FORMATS["text"].build(TextContent(lines)).frames)

        reel = prepare(source, Preparation(code="ita2")).reels[0]

        reader = HexBytesReader(io.BytesIO(content(reel).hex().encode("ascii")))
        assert decode_to_str(reader, ITA2_STANDARD).split() == " ".join(lines).split()


class TestWorkedExamples:
    """Frames that were worked by hand from descriptions of the formats."""

    def test_the_blocks_of_the_16_bit_minicomputer(self):
        memory = {0x0200: bytes.fromhex("C01507000000")}
        source = decode(FORMATS["intel-hex"].build(HexProgram(memory, 0x0200)).frames)

        reel = prepare(source, Preparation(format="absolute-block")).reels[0]

        assert content(reel).hex(" ").upper() == (
            "01 00 0C 00 00 02 C0 15 07 00 00 00 15 01 00 06 00 00 02 F7"
        )

    def test_a_block_program_without_a_start(self):
        source = decode(FORMATS["absolute-block"].build(BlockProgram({0x0200: b"AB" * 20})).frames)

        reel = prepare(source, Preparation(record_length=6)).reels[0]

        assert content(reel).endswith(bytes.fromhex("010006000100F8"))

    def test_the_records_of_the_8080_program(self):
        memory = {0x0100: bytes.fromhex("3E41D301C30001")}
        source = blocks(memory, 0x0100)

        said = {
            into: characters(prepare(source, Preparation(format=into)).reels[0]).split("\r\n")[0]
            for into in ("intel-hex", "s-record", "tek-hex")
        }

        assert said == {
            "intel-hex": ":070100003E41D301C30001E1",
            "s-record": "S10A01003E41D301C30001DD",
            "tek-hex": "/010007083E41D301C3000137",
        }

    def test_the_tektronix_record_of_all_ones(self):
        source = blocks({0x0010: b"\xff" * 16}, None)

        reel = prepare(source, Preparation(format="tek-hex")).reels[0]

        assert characters(reel).startswith("/00101002" + "FF" * 16 + "E0")

    def test_rim_and_bin_frames_of_the_12_bit_machine(self):
        words = {0o200: bytes.fromhex("0E8002830F020022")}
        source = decode(FORMATS["bin12"].build(WordProgram(words)).frames)

        rim = prepare(source, Preparation(format="rim12")).reels[0]
        back = prepare(decode(rim.frames), Preparation(format="bin12")).reels[0]

        octal = "102 000 072 000 102 001 012 003 102 002 074 002 102 003 000 042"
        assert [f"{frame:03o}" for frame in content(rim)] == octal.split()
        octal = "102 000 072 000 012 003 074 002 000 042 003 051"
        assert [f"{frame:03o}" for frame in content(back)] == octal.split()

    def test_a_numerical_control_program_in_both_codes(self):
        lines = ("N10G01X", "N20G00X5", "N30M02")
        source = decode(FORMATS["nc-program"].build(NcContent(lines)).frames)

        reel = prepare(source, Preparation(code="rs-244")).reels[0]
        back = prepare(decode(reel.frames), Preparation(code="iso-840")).reels[0]

        assert content(reel).startswith(bytes.fromhex("4501206720013780"))
        assert content(back).startswith(bytes.fromhex("4EB13047 30B1D80A"))

    def test_the_crunched_program_of_tokens_from_memory(self):
        lines = ('10 PRINT"HI"', "20 REM FOR A", "30 DATAA,TO:PRINTA", "40 GOTO 10")
        source = decode(FORMATS["text"].build(TextContent(lines)).frames)

        reel = prepare(source, Preparation(format="crunched-basic")).reels[0]

        assert content(reel).hex(" ").upper() == (
            "D3 D3 D3 41 0B 20 0A 00 96 22 48 49 22 00 17 20 14 00 8E 20 46 4F 52 20 41 00 "
            "24 20 1E 00 83 41 2C 54 4F 3A 96 41 00 2D 20 28 00 88 20 31 30 00 00 00"
        )


TELEPRINTER, FAST_READER, FAST_PUNCH = 10, 450, 70


def interpreter(size: int) -> int:
    """Frames of a checksum tape that loads so many bytes."""
    code = bytes((at * 37 + at // 251) % 256 for at in range(size))
    return prepare(blocks({0: code}, 0), Preparation()).frames


class TestTheTrade:
    """Times that people who run such machines give: common practice, no source."""

    def test_an_8k_interpreter_takes_a_quarter_of_an_hour_at_the_teleprinter(self):
        frames = interpreter(0x2000)

        assert seconds(frames, TELEPRINTER) / 60 == pytest.approx(15, rel=0.1)
        assert seconds(frames, FAST_READER) == pytest.approx(20, rel=0.1)

    def test_a_4k_interpreter_takes_half_of_it_and_10_to_15_seconds(self):
        frames = interpreter(0x1000)

        assert seconds(frames, TELEPRINTER) / 60 == pytest.approx(7.5, rel=0.1)
        assert 9.5 < seconds(frames, FAST_READER) < seconds(frames, 300) < 15

    def test_a_punch_of_five_minutes_takes_well_under_one(self):
        assert seconds(5 * 60 * TELEPRINTER, FAST_PUNCH) < 45

    def test_the_fast_punch_is_over_twice_as_fast_as_a_cassette_of_300_baud(self):
        # A byte takes eleven bits.
        assert seconds(1000, 300 / 11) > 2 * seconds(1000, FAST_PUNCH)
