"""Motorola S-records against their description, and against a reference reader and writer.

Sources, named beside each check:
    The S-record description in the maker's assembler and monitor manuals, from memory.
    bincopy, a Python library: it reads what we write and writes what we read.
The 8080 program in the examples is ours; its records were worked by hand and read by the peer.
"""

import random

import bincopy
import pytest

from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding
from server.tape.formats.s_record import SRecord
from server.tape.hexadecimal.program import HexProgram
from tests.tape.hex_tapes import kinds, of_kind, view

FORMAT = SRecord()

DATA = "S10A01003E41D301C30001DD"
END = "S9030100FB"


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


class TestTheDescription:
    """The maker's manuals, from memory: the fields of each record type."""

    def test_s0_is_a_header(self):
        (header,) = of_kind(parse("S00600004844521B" + DATA + END), "header-record")

        assert "'HDR'" in header.message

    def test_s1_has_an_address_of_two_bytes(self):
        assert parse(DATA + END).memory == {0x0100: bytes.fromhex("3E41D301C30001")}

    def test_s1_of_sixteen_bytes(self):
        decoding = parse("S1130000285F245F2212226A000424290008237C2A" + "S9030000FC")

        assert decoding.memory == {0: bytes.fromhex("285F245F2212226A000424290008237C")}
        assert decoding.check_status is CheckStatus.SOUND

    def test_s2_and_s8_have_addresses_of_three_bytes(self):
        decoding = parse("S20701234501020389" + "S80401234592")

        assert decoding.memory == {0x012345: b"\1\2\3"}
        assert decoding.entry_address == 0x012345

    def test_s3_and_s7_have_addresses_of_four_bytes(self):
        decoding = parse("S3080001234501020388" + "S7050001234591")

        assert decoding.memory == {0x012345: b"\1\2\3"}
        assert decoding.entry_address == 0x012345

    def test_s5_counts_the_data_records(self):
        assert parse(DATA + "S5030001FB" + END).findings == ()
        assert kinds(parse(DATA + DATA + "S5030001FB" + END)) == [
            "address-overlap",
            "count-mismatch",
        ]

    def test_s9_gives_the_start_address(self):
        assert parse(DATA + END).entry_address == 0x0100

    def test_the_bytes_of_a_record_and_its_checksum_add_up_to_ff(self):
        decoding = parse(DATA[:-1] + "C" + END)

        assert kinds(decoding) == ["checksum-mismatch"]
        assert decoding.check_status is CheckStatus.DAMAGED


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("limit", [0x10000, 0x1000000, 0x4000000])
class TestBincopy:
    def test_it_reads_what_we_write(self, seed, limit):
        memory = generated(seed, limit)
        program = HexProgram(memory, 0x1234, record_length=1 + seed * 7, header=b"HARBOUR")
        peer = bincopy.BinFile()
        peer.add_srec(punched(program))

        assert {segment.address: bytes(segment.data) for segment in peer.segments} == memory
        assert peer.execution_start_address == 0x1234
        assert peer.header == "HARBOUR"

    def test_we_read_what_it_writes(self, seed, limit):
        memory = generated(seed, limit)
        bits = {0x10000: 16, 0x1000000: 24, 0x4000000: 32}[limit]
        peer = bincopy.BinFile()
        for start, data in memory.items():
            peer.add_binary(data, start)
        peer.execution_start_address = 0x1234
        decoding = parse(peer.as_srec(16 + seed, bits))

        assert decoding.memory == memory
        assert decoding.entry_address == 0x1234
        assert decoding.check_status is CheckStatus.SOUND


def test_the_peer_refuses_the_record_that_we_call_damaged():
    wrong = DATA[:-1] + "C"
    with pytest.raises(bincopy.Error):
        bincopy.BinFile().add_srec(wrong)

    assert parse(wrong + END).check_status is CheckStatus.DAMAGED
