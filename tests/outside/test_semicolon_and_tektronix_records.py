"""Records of `;` and of Tektronix against what is published of them, and a plain second reader.

Sources, named beside each check:
    The paper tape appendix of the 1976 monitor manual of the 6502's maker: its record of 24
    bytes, from memory; that record recomputes to the checksum that it gives.
    A secondary page: the record of 24 bytes of FF; records of 32 bytes exist.
    Manuals of three programmers for read-only memories, seen: the fields of a Tektronix record,
    and one record of sixteen bytes of FF with its checksum.
No library of the registry was found that reads either format, so `plainly_read_*` below, written
from the descriptions alone and a line at a time, stands beside ours on generated tapes. Examples
marked 'computed' were worked by hand from the rules.
"""

import random

import pytest

from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding, Format
from server.tape.formats.semicolon_hex import SemicolonHex
from server.tape.formats.tek_hex import TekHex
from server.tape.hexadecimal.program import HexProgram
from tests.tape.hex_tapes import kinds, view

SEMICOLON, TEK = SemicolonHex(), TekHex()


def parse(text: str, reader: Format[HexProgram] = SEMICOLON) -> Decoding:
    return reader.parse(view(text.encode("ascii")))


def punched(reader: Format[HexProgram], program: HexProgram) -> str:
    frames = reader.build(program).frames.translate(bytes(range(128)) * 2, b"\0")
    return frames.decode("ascii")


def plainly_read_semicolons(text: str) -> dict[int, int]:
    """Every byte by its address; refuses a wrong sum or count."""
    memory: dict[int, int] = {}
    for count, line in enumerate(text.replace("\x13", "").split()):
        assert line[0] == ";"
        fields = [int(line[at : at + 2], 16) for at in range(1, len(line), 2)]
        length, address = fields[0], fields[1] * 256 + fields[2]
        assert sum(fields[:-2]) == fields[-2] * 256 + fields[-1]
        if length == 0:
            assert address == count
        assert len(fields) == length + 5
        memory.update(enumerate(fields[3:-2], address))
    return memory


def plainly_read_tektronix(text: str) -> tuple[dict[int, int], int]:
    """Every byte by its address, and the start; refuses a wrong checksum."""
    memory: dict[int, int] = {}
    for line in text.split():
        assert line[0] == "/"
        digits = [int(digit, 16) for digit in line[1:]]
        assert sum(digits[:6]) == int(line[7:9], 16)
        address, length = int(line[1:5], 16), int(line[5:7], 16)
        if length == 0:
            assert len(line) == 9
            return memory, address
        assert sum(digits[8:-2]) % 256 == int(line[-2:], 16)
        assert len(line) == 11 + 2 * length
        memory.update(enumerate(bytes.fromhex(line[9:-2]), address))
    raise AssertionError("no end record")


def generated(seed: int) -> dict[int, bytes]:
    choose = random.Random(seed)
    starts = sorted(choose.sample(range(0, 0x10000, 0x400), 6))
    return {
        start + choose.randrange(16): choose.randbytes(choose.randrange(1, 900)) for start in starts
    }


def by_byte(memory: dict[int, bytes]) -> dict[int, int]:
    return {start + at: byte for start, run in memory.items() for at, byte in enumerate(run)}


class TestSemicolons:
    def test_the_record_of_the_manual(self):
        """Monitor manual, 1976, from memory."""
        line = ";180000FFEEDDCCBBAA0099887766554433221122334455667788990AFC"
        decoding = parse(line)

        assert kinds(decoding) == ["end-record-missing"]
        assert decoding.memory == {0: bytes.fromhex(line[7:-4])}

    def test_the_record_of_all_ones(self):
        """A secondary page."""
        decoding = parse(";180300" + "FF" * 24 + "1803")

        assert kinds(decoding) == ["end-record-missing"]
        assert decoding.memory == {0x300: b"\xff" * 24}

    def test_a_record_of_32_bytes_is_read(self):
        """A secondary page: such tapes exist. Computed: 20 + 02 + 32 times 01 is 42."""
        assert parse(";200200" + "01" * 32 + "0042").memory == {0x200: b"\1" * 32}

    def test_data_and_end_with_fill_and_xoff(self):
        """Computed; the monitor writes CR, LF and six NULs, and XOFF at the end (the manual)."""
        decoding = parse(";060200A9418D00400001BF\r\n" + "\0" * 6 + ";0000010001\r\n\x13")

        assert decoding.memory == {0x200: bytes.fromhex("A9418D004000")}
        assert decoding.check_status is CheckStatus.SOUND

    @pytest.mark.parametrize("end", [";0001020003", ";0001020102"])
    def test_both_descriptions_of_the_last_field(self, end):
        """Computed from two published descriptions that differ: 258 records."""
        records = [f";01{at:04X}00{1 + (at >> 8) + (at & 255):04X}" for at in range(258)]

        assert parse("".join(records) + end).check_status is CheckStatus.SOUND

    @pytest.mark.parametrize("seed", range(8))
    def test_a_plain_reader_reads_what_we_write(self, seed):
        memory = generated(seed)
        text = punched(SEMICOLON, HexProgram(memory, record_length=1 + 8 * seed))

        assert plainly_read_semicolons(text) == by_byte(memory)
        assert by_byte(dict(parse(text).memory)) == by_byte(memory)


class TestTektronix:
    def test_the_published_record(self):
        """One manual, seen: sixteen bytes of FF, so the second sum is of digits, not bytes."""
        decoding = parse("/00101002" + "FF" * 16 + "E0", TEK)

        assert kinds(decoding) == ["end-record-missing"]
        assert decoding.memory == {0x10: b"\xff" * 16}
        assert "checksum-mismatch" in kinds(parse("/00101002" + "FF" * 16 + "F0", TEK))

    def test_data_and_end(self):
        """Computed from the fields that the three manuals describe."""
        decoding = parse("/010007083E41D301C3000137\r/01000001\r", TEK)

        assert decoding.memory == {0x100: bytes.fromhex("3E41D301C30001")}
        assert (decoding.entry_address, decoding.check_status) == (0x100, CheckStatus.SOUND)

    def test_two_strokes_break_off(self):
        """The manuals: // and a text is an abort record."""
        assert "abort-record" in kinds(parse("/010007083E41D301C3000137\r//STOPPED\r", TEK))

    @pytest.mark.parametrize("seed", range(8))
    def test_a_plain_reader_reads_what_we_write(self, seed):
        memory = generated(seed)
        text = punched(TEK, HexProgram(memory, 0x1234, record_length=1 + 36 * seed))

        assert plainly_read_tektronix(text) == (by_byte(memory), 0x1234)
        assert by_byte(dict(parse(text, TEK).memory)) == by_byte(memory)
