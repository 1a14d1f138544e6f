"""Which frames load an address, where the decoding tells it closely, loosely, or not at all."""

from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding
from server.tape.image import Span
from server.tape.listing import Line, Listing
from server.tape.loading import LoadedBlock
from server.tape.machine_frames import MachineFrames


def decoding(memory, *lines, code=None, blocks=(), language=None):
    return Decoding(
        format="test",
        data=Span(10, 90),
        listing=Listing(lines),
        check_status=CheckStatus.NO_CHECK,
        content=b"",
        code=code,
        language=language,
        memory=memory,
        blocks=blocks,
    )


def of(*decodings, backwards=False, assumed=None):
    return MachineFrames(decodings, assumed, backwards=backwards).of


DUMP = Line("0100 ...", 20, 16, 0x100), Line("0110 ...", 40, 4, 0x110)
LOADED = {0x100: bytes(20)}


def test_a_binary_dump_ties_each_cell_to_its_own_frame():
    frames = of(decoding(LOADED, *DUMP))
    assert frames(0x100, 0x101) == (20, 21)
    assert frames(0x10E, 0x112) == (34, 42)
    assert frames(0x113, 0x120) == (43, 44)


def test_on_a_tape_read_from_its_end_later_cells_stand_before():
    frames = of(decoding(LOADED, *DUMP), backwards=True)
    assert frames(0x100, 0x101) == (35, 36)
    assert frames(0x10F, 0x110) == (20, 21)


def test_records_in_characters_tie_cells_to_the_record_alone():
    frames = of(decoding(LOADED, *DUMP, code="iso-646"))
    assert frames(0x104, 0x105) == (20, 36)
    assert frames(0x10F, 0x111) == (20, 44)


def test_a_row_with_a_gap_is_tied_as_a_whole():
    row = Line("0100 ...", 20, 8, 0x100)
    frames = of(decoding({0x100: b"\1\2", 0x106: b"\3\4"}, row))
    assert frames(0x106, 0x107) == (20, 28)


def test_an_address_that_nothing_loads_has_no_frames():
    frames = of(decoding(LOADED, *DUMP, Line("0300 ...", 60, 9, 0x300)))
    assert frames(0x90, 0x100) is None
    assert frames(0x114, 0x120) is None
    assert frames(0x300, 0x301) is None


def test_without_a_dump_the_blocks_tell():
    blocks = LoadedBlock(0x200, 0x20F, 30, 16, sound=True), LoadedBlock(0x210, 0x21F, 50, 19, True)
    frames = of(decoding({0x200: bytes(32)}, blocks=blocks))
    assert frames(0x204, 0x206) == (34, 36)
    assert frames(0x21F, 0x220) == (50, 69)
    basic = of(decoding({0x200: bytes(32)}, *DUMP, blocks=blocks, language="basic"))
    assert basic(0x204, 0x206) == (34, 36)


def test_the_first_program_that_loads_an_address_tells():
    other = decoding(LOADED, Line("0100 ...", 70, 16, 0x100), Line("0110 ...", 86, 4, 0x110))
    frames = of(decoding({0x100: bytes(4)}, Line("0100 ...", 20, 4, 0x100)), other)
    assert frames(0x101, 0x102) == (21, 22)
    assert frames(0x105, 0x106) == (75, 76)


def test_frames_without_addresses_count_from_the_one_assumed():
    frames = of(decoding({}, Line("0000 ...", 10, 16, 0)), assumed=0x1000)
    assert frames(0x1000, 0x1003) == (10, 13)
