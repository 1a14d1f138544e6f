"""Machine code as people read it: by statements, each tied to the frames that loaded it."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.basic import DIALECTS
from server.tape.blocks.program import BlockProgram
from server.tape.cpu.notation import Notation
from server.tape.formats import FORMATS
from server.tape.formats.checksum_block import CheckedProgram
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.raw_binary import RawCode
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Orientation, Span
from server.tape.program_view import guess_of, machine_code, processors_for
from server.tape.twelve_bit.program import WordProgram
from tests.tape.basic.corpus import program
from tests.tape.code_tapes import invented_code
from tests.tape.hex_tapes import tape

CODE = bytes.fromhex("31 00 02 21 1C 01 7E B7 CA 00 00 CD 14 01 23 C3 06 01 00 00")
ROUTINE = bytes.fromhex("D3 01 E6 7F FE 20 C8 C9") + b"TIDE\x00\x80"
PROGRAM = CODE + ROUTINE
"""A loop of the 8080 that sends a text to port 1, made for these tests."""

BARE = invented_code("6502", 600, 0x1000, 3)

LISTED = """\
0100  31 00 02                     LXI SP,0200
0103  21 1C 01                     LXI H,D011C
0106  7E                    L0106  MOV A,M
0107  B7                           ORA A
0108  CA 00 00                     JZ 0000
010B  CD 14 01                     CALL L0114
010E  23                           INX H
010F  C3 06 01                     JMP L0106
0112  00 00                        00 00
0114  D3 01                 L0114  OUT 01
0116  E6 7F                        ANI 7F
0118  FE 20                        CPI 20
011A  C8                           RZ
011B  C9                           RET
011C  54 49 44 45           D011C  "TIDE"
0120  00 80                        00 80
"""


def hexed(entry=0x100, runs=None):
    content = HexProgram(runs or {0x100: PROGRAM}, entry_address=entry)
    return FORMATS["intel-hex"].build(content).frames


def shown(decoded, processor=None, notation=None):
    code = machine_code(decoded, processor, notation)
    assert code is not None
    return code


def words(*listing):
    return [" ".join(line.split()) for line in listing]


def test_code_is_listed_with_its_cells_and_labels():
    code = shown(decode(hexed()))
    assert words(*code.listing.text.splitlines()) == words(*LISTED.splitlines())
    assert (code.processor, code.notation, code.cell_bytes) == ("8080", Notation.HEX, 1)
    assert code.heading.startswith("8080, ")
    assert [line.key for line in code.listing][:3] == [0x100, 0x103, 0x106]


def test_targets_are_those_that_the_tape_loads():
    code = shown(decode(hexed()))
    assert code.targets == {0x103: 0x11C, 0x10B: 0x114, 0x10F: 0x106}


def test_the_processor_may_be_set_by_hand():
    code = shown(decode(hexed()), "z80")
    assert code.rows[1].statement.text == "LD HL,D011C"
    assert code.heading == "z80, set by hand; 8080 is likelier"
    assert code.guess.processor == "8080"


@pytest.mark.parametrize(
    ("name", "content", "notation", "address"),
    [
        ("absolute-block", BlockProgram({0o1000: PROGRAM}), "octal", "001000"),
        ("checksum-block", CheckedProgram({0x200: PROGRAM}), "split-octal", "002 000"),
        ("intel-hex", HexProgram({0x200: PROGRAM}), "hex", "0200"),
    ],
)
def test_numbers_are_written_as_the_people_of_the_machine_wrote_them(
    name, content, notation, address
):
    code = shown(decode(FORMATS[name].build(content).frames), "8080")
    assert (code.notation, code.rows[0].address) == (notation, address)


def test_bare_code_is_written_as_was_usual_for_the_processor_that_it_is_read_for():
    bare = decode(FORMATS["raw-binary"].build(RawCode(BARE)).frames)
    assert shown(bare, "8080").notation is Notation.SPLIT_OCTAL
    assert shown(bare, "6502").notation is Notation.HEX


@pytest.mark.parametrize(
    ("notation", "address", "cells"),
    [
        (Notation.HEX, "0103", "21 1C 01"),
        (Notation.OCTAL, "000403", "041 034 001"),
        (Notation.SPLIT_OCTAL, "001 003", "041 034 001"),
    ],
)
def test_the_notation_may_be_chosen(notation, address, cells):
    row = shown(decode(hexed()), notation=notation).rows[1]
    assert (row.address, row.cells) == (address, cells)


def test_a_processor_with_other_cells_is_refused():
    with pytest.raises(KeyError):
        machine_code(decode(hexed()), "12-bit")
    assert processors_for(2) == ("12-bit",)


def test_what_hangs_together_as_no_code_is_shown_as_data():
    code = shown(decode(hexed(runs={0x100: bytes([0xDD, 0xED] * 4)}, entry=None)))
    assert (code.processor, code.guess) == (None, None)
    assert [row.statement.kind for row in code.rows] == ["data"]
    assert "shown as data" in code.heading
    assert not code.targets


def spans(decoded, code):
    """The frames of each statement as they were punched, with the statement."""
    turned = decoded.image.turned(decoded.orientation)
    for row in code.rows:
        as_read = Span(row.frame, row.frame + row.frames)
        # Turning a span twice brings it back.
        punched = decoded.image.span_as_read(as_read, decoded.orientation)
        yield row, turned.frames[slice(*punched)]


def turned(image, orientation):
    decoded = decode(image.turned(orientation).frames)
    assert decoded.orientation is orientation
    return decoded


@pytest.mark.parametrize("orientation", Orientation)
def test_statements_of_a_hex_tape_are_tied_to_their_records(orientation):
    decoded = turned(decode(hexed()).image, orientation)
    for row, frames in spans(decoded, shown(decoded)):
        text = bytes(byte & 0x7F for byte in frames).decode()
        records = [record[9:-2] for record in re.findall("[:0-9A-F]+", text)]
        assert row.cells.replace(" ", "") in "".join(records)
        assert len(records) <= 2


@pytest.mark.parametrize("orientation", Orientation)
def test_statements_of_bare_code_are_tied_to_their_very_frames(orientation):
    decoded = turned(FORMATS["raw-binary"].build(RawCode(BARE)), orientation)
    code = shown(decoded)
    assert (decoded.decoding.format, code.assumed_address) == ("raw-binary", 0x1000)
    assert code.processor == code.guess.processor == "6502"
    for row, frames in spans(decoded, code):
        assert frames.hex(" ").upper() == row.cells


@pytest.mark.parametrize("orientation", Orientation)
def test_statements_of_a_block_are_tied_to_its_very_frames(orientation):
    tape = FORMATS["checksum-block"].build(CheckedProgram({0x1000: BARE}))
    decoded = turned(tape, orientation)
    code = shown(decoded, "6502", Notation.HEX)
    assert code.assumed_address is None
    exact = [frames.hex(" ").upper() == row.cells for row, frames in spans(decoded, code)]
    assert sum(exact) > 0.8 * len(exact)
    for row, frames in spans(decoded, code):
        assert bytes.fromhex(row.cells)[:1] in frames


@pytest.mark.parametrize("name", ["rim12", "bin12"])
@pytest.mark.parametrize("orientation", [Orientation.AS_READ, Orientation.REVERSED])
def test_words_of_twelve_bits_are_tied_to_their_frames(name, orientation):
    listed = (0o7200, 0o1205, 0o3206, 0o5200, 0o7402, 0o0042) * 8
    data = b"".join(word.to_bytes(2, "big") for word in listed)
    decoded = turned(FORMATS[name].build(WordProgram({0o200: data})), orientation)
    code = shown(decoded)
    assert (code.processor, code.notation, code.cell_bytes) == ("12-bit", Notation.OCTAL, 2)
    assert [row.cells for row in code.rows if row.statement.size == 1][:2] == ["7200", "1205"]
    for row, frames in spans(decoded, code):
        pairs = [frames[at : at + 2] for at in range(0, len(frames), 2)]
        values = {f"{(pair[0] & 0o77) << 6 | pair[1] & 0o77:04o}" for pair in pairs}
        assert set(row.cells.split()) <= values


def test_a_program_in_basic_is_no_code_unless_told_so():
    decoded = decode(CrunchedBasic().build(program(DIALECTS["8k-8080"], 1)).frames)
    code = shown(decoded)
    assert (guess_of(decoded), code.guess, code.processor) == (None, None, None)
    by_hand = shown(decoded, "8080")
    assert by_hand.heading == "8080, set by hand"
    for row, frames in spans(decoded, code):
        assert frames.hex(" ").upper() == row.cells


def test_of_basic_and_code_on_one_tape_the_code_is_shown():
    basic = CrunchedBasic().build(program(DIALECTS["8k-8080"], 1)).frames
    decoded = decode(basic + bytes(100) + hexed())
    assert decoded.decoding.language == "basic"
    code = shown(decoded)
    assert code.rows[0].statement.address == 0x100
    assert code.rows[0].frame > len(basic)
    guess = guess_of(decoded)
    assert guess is not None
    assert guess.processor == "8080"


def test_frames_that_nobody_knows_may_be_read_as_code_by_hand():
    noise = bytes(range(1, 200, 3)) + bytes(range(200, 2, -3))
    decoded = decode(noise)
    assert decoded.decoding.format == "unrecognised"
    assert shown(decoded).processor is None
    assert shown(decoded, "6800").processor == "6800"
    assert guess_of(decoded) is None


@pytest.mark.parametrize("frames", [bytes(90), tape(b"A LETTER\r\n" * 9).frames])
def test_a_tape_that_loads_nothing_has_no_code(frames):
    assert machine_code(decode(frames)) is None
    assert guess_of(decode(frames)) is None


def test_what_lies_beyond_all_addresses_is_no_code():
    decoded = decode(FORMATS["intel-hex"].build(HexProgram({0x20000: PROGRAM})).frames)
    assert decoded.decoding.memory
    assert machine_code(decoded) is None


def test_a_whole_memory_is_shown():
    code = invented_code("8080", 0xF000, 0x100, 4)
    decoded = decode(FORMATS["intel-hex"].build(HexProgram({0x100: code})).frames)
    code_shown = shown(decoded)
    assert sum(row.statement.size for row in code_shown.rows) == len(code)


@given(st.binary(min_size=1, max_size=200), st.sampled_from(["8080", "z80", "6502", "6800"]))
def test_every_byte_is_shown_once_with_its_frames(data, processor):
    decoded = decode(FORMATS["intel-hex"].build(HexProgram({0x1F0: data})).frames)
    code = shown(decoded, processor)
    assert b"".join(bytes.fromhex(row.cells) for row in code.rows) == data
    assert all(row.frames for row in code.rows)
