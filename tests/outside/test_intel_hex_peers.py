"""Intel hexadecimal against its specification, and against two reference readers and writers.

Sources, named beside each check:
    Intel, Hexadecimal Object File Format Specification, Revision A, 6 January 1988: the six
    record types and their fields.
    bincopy and intelhex, Python libraries: each reads what we write and writes
    what we read.
The 8080 program in the examples is ours; its records were worked by hand and read by both peers.
"""

import io
import random

import bincopy
import intelhex
import pytest

from server.tape.codes.base import Parity
from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding
from server.tape.formats.intel_hex import IntelHex
from server.tape.hexadecimal.program import HexProgram
from tests.tape.hex_tapes import kinds, view

FORMAT = IntelHex()

DATA = ":070100003E41D301C30001E1"
END = ":00000001FF"


def parse(text: str) -> Decoding:
    return FORMAT.parse(view(text.encode("ascii")))


def punched(program: HexProgram) -> str:
    """The characters on the tape of `program`, parity taken off."""
    frames = FORMAT.build(program).frames.translate(bytes(range(128)) * 2, b"\0")
    return frames.decode("ascii")


def generated(seed: int, limit: int) -> dict[int, bytes]:
    """Runs of memory below `limit` that neither overlap nor touch."""
    choose = random.Random(seed)
    starts = sorted(choose.sample(range(0, limit, 0x400), 6))
    return {
        start + choose.randrange(16): choose.randbytes(choose.randrange(1, 900)) for start in starts
    }


class TestTheSpecification:
    """Intel, 1988: the fields of each record type."""

    def test_type_00_loads_its_bytes_at_its_offset(self):
        decoding = parse(DATA + "\r\n" + END)

        assert decoding.memory == {0x0100: bytes.fromhex("3E41D301C30001")}
        assert decoding.check_status is CheckStatus.SOUND

    def test_the_bytes_of_a_record_and_its_checksum_add_up_to_zero(self):
        """One count less in the checksum, and the record must be refused as it stands."""
        decoding = parse(DATA[:-1] + "0\r\n" + END)

        assert kinds(decoding) == ["checksum-mismatch"]
        assert decoding.check_status is CheckStatus.DAMAGED

    def test_type_01_ends_the_file(self):
        assert parse(DATA + END).findings == ()
        assert kinds(parse(DATA)) == ["end-record-missing"]

    def test_type_02_gives_bits_4_to_19_of_a_segment_base(self):
        assert list(parse(":020000021200EA" + DATA + END).memory) == [0x12000 + 0x0100]

    def test_offsets_in_a_segment_are_taken_modulo_64_ki(self):
        record = ":02FFFF00ABCD88"

        assert parse(":020000021200EA" + record + END).memory == {
            0x12000: b"\xcd",
            0x12000 + 0xFFFF: b"\xab",
        }

    def test_type_03_gives_cs_and_ip(self):
        assert parse(DATA + ":0400000300003800C1" + END).entry_address == 0x3800

    def test_type_04_gives_the_upper_half_of_a_linear_base(self):
        assert list(parse(":020000040800F2" + DATA + END).memory) == [0x08000000 + 0x0100]

    def test_type_05_gives_eip(self):
        assert parse(DATA + ":04000005000000CD2A" + END).entry_address == 0xCD


def test_early_8_bit_tapes_give_the_start_address_in_the_end_record():
    """From memory: the old form of the end record."""
    decoding = parse(DATA + "\r\n:00010001FE")

    assert decoding.entry_address == 0x0100
    assert decoding.findings == ()


def test_early_8_bit_tapes_may_end_with_a_data_record_of_no_bytes():
    """From memory."""
    assert parse(DATA + "\r\n:0001000000FF").findings != ()
    assert parse(DATA + "\r\n:00010000FF").findings == ()


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("limit", [0x10000, 0x100000, 0x4000000])
class TestBincopy:
    def test_it_reads_what_we_write(self, seed, limit):
        memory = generated(seed, limit)
        peer = bincopy.BinFile()
        peer.add_ihex(punched(HexProgram(memory, record_length=1 + seed * 7, line_end=b"\r\n")))

        assert {segment.address: bytes(segment.data) for segment in peer.segments} == memory

    @pytest.mark.parametrize("address_bits", [16, 24, 32])
    def test_we_read_what_it_writes(self, seed, limit, address_bits):
        reach = min(limit, {16: 0x10000, 24: 0x100000, 32: 1 << 32}[address_bits])
        memory = generated(seed, reach)
        peer = bincopy.BinFile()
        for start, data in memory.items():
            peer.add_binary(data, start)
        decoding = parse(peer.as_ihex(16 + seed, address_bits))

        assert decoding.memory == memory
        assert decoding.check_status is CheckStatus.SOUND


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("limit", [0x10000, 0x100000, 0x4000000])
class TestIntelhex:
    def test_it_reads_what_we_write(self, seed, limit):
        memory = generated(seed, limit)
        peer = intelhex.IntelHex(io.StringIO(punched(HexProgram(memory, entry_address=0x12345))))

        assert {start: peer.tobinstr(start, end - 1) for start, end in peer.segments()} == memory
        assert peer.start_addr == {"EIP": 0x12345}

    @pytest.mark.parametrize("start", [{"CS": 0x1200, "IP": 0x3456}, {"EIP": 0x98765}])
    def test_we_read_what_it_writes(self, seed, limit, start):
        memory = generated(seed, limit)
        peer = intelhex.IntelHex()
        for address, data in memory.items():
            peer.puts(address, data)
        peer.start_addr = start
        written = io.StringIO()
        peer.write_hex_file(written, byte_count=8 + seed * 5)
        decoding = parse(written.getvalue())

        assert decoding.memory == memory
        assert decoding.entry_address == start.get("EIP", 0x12000 + 0x3456)
        assert decoding.check_status is CheckStatus.SOUND


def test_both_peers_refuse_the_record_that_we_call_damaged():
    wrong = DATA[:-1] + "0"
    with pytest.raises(bincopy.Error):
        bincopy.BinFile().add_ihex(wrong)
    with pytest.raises(intelhex.HexRecordError):
        intelhex.IntelHex(io.StringIO(wrong))

    assert parse(wrong + END).check_status is CheckStatus.DAMAGED


@pytest.mark.parametrize("parity", Parity)
def test_peers_read_what_was_punched_in_any_parity(parity):
    peer = bincopy.BinFile()
    peer.add_ihex(punched(HexProgram({0x100: b"HARBOUR"}, parity=parity)))

    assert bytes(peer.as_binary()) == b"HARBOUR"
