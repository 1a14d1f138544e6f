"""How machines' people wrote addresses, and how long their tapes ran: against figures of others."""

import numpy as np
import pytest

from server.catalog.key_in import cells_of
from server.delivery.words import duration
from server.tape.estimate import seconds
from server.tape.formats.rim12 import Rim12
from server.tape.machine_notation import HEXADECIMAL, OCTAL, OCTAL_WORDS, SPLIT_OCTAL, writing_of
from server.tape.twelve_bit.program import WordProgram

RIM_LOADER = """
7756: 6032 6031 5357 6036 7106 7006 7510 5357
7766: 7006 6031 5367 6034 7420 3776 3376 5356 0000
"""
"""The loader keyed in for the console reader: paper tape system handbook of the 12-bit machine's
maker, from memory; its logic is followed below."""


@pytest.mark.parametrize("value", [0, 1, 0o377, 0o400, 0x1234, 0x7FFF, 0xFF00, 0xFFFF])
def test_split_octal_is_each_byte_in_octal_by_a_library_for_numbers(value):
    """numpy takes the bytes apart and writes them in base 8: a place-value system by itself."""
    high, low = np.array([value], dtype=">u2").view(np.uint8)
    split = f"{np.base_repr(high, 8):0>3} {np.base_repr(low, 8):0>3}"

    assert SPLIT_OCTAL.address(value) == split
    assert OCTAL.address(value) == f"{np.base_repr(value, 8):0>6}"
    assert HEXADECIMAL.address(value) == f"{np.base_repr(value, 16):0>4}"


@pytest.mark.parametrize(
    ("opcode", "octal"),
    [(0o303, "303"), (0x76, "166"), (0x3E, "076"), (0xC9, "311"), (0xDB, "333"), (0xD3, "323")],
)
def test_the_8080_is_read_in_octal_by_its_register_fields(opcode, octal):
    """Source: 8080 assembly language manual of its maker, from memory: MOV d,s is 01 ddd sss, so
    that octal shows the registers; JMP 303, HLT 166, MVI A 076, RET 311, IN 333, OUT 323."""
    assert SPLIT_OCTAL.keyed(opcode) == octal
    assert writing_of("raw-binary", "8080") == SPLIT_OCTAL


def test_the_loader_of_the_12_bit_machine_lies_where_its_handbook_puts_it():
    """Source: as `RIM_LOADER`; it ends in the last page but one cell from the top of a field."""
    cells = cells_of(RIM_LOADER, OCTAL_WORDS)

    assert (cells[0].address, cells[-1].address, len(cells)) == ("7756", "7776", 0o21)


def test_the_loader_that_is_keyed_in_loads_the_tape_that_it_is_for():
    """The instruction set of the 12-bit machine: handbook of its maker, from memory."""
    program = WordProgram({0o200: bytes.fromhex("0E80028307020022")}, leader=8, trailer=8)
    memory = {int(cell.address, 8): int(cell.contents, 8) for cell in cells_of(RIM_LOADER,
              OCTAL_WORDS)}  # fmt: skip
    run_loader(memory, Rim12().build(program).frames)

    assert [memory[at] for at in range(0o200, 0o204)] == [0o7200, 0o1203, 0o3402, 0o0042]


def run_loader(memory: dict[int, int], tape: bytes) -> None:
    """Run the code at 7756 until it waits for a frame that no longer comes."""
    frames = iter(tape)
    counter, link, accumulator, waiting = 0o7756, 0, 0, True
    buffer: int | None = None
    for _ in range(100 * len(tape)):
        word = memory[counter]
        counter = (counter + 1) & 0o7777
        if word in (0o6032, 0o6036, 0o6034):
            # KCC clears and asks for a frame, KRB also brings the last one, KRS only brings it.
            if word == 0o6034:
                accumulator |= buffer or 0
                continue
            accumulator = 0 if word == 0o6032 else (buffer or 0)
            buffer = next(frames, None)
            waiting = buffer is None
        elif word == 0o6031:
            if waiting:
                return
            counter += 1
        elif word >> 9 == 0o7 and not word & 0o400:
            if word & 0o100:
                link = 0
            for _ in range(2 if word & 0o2 else 1):
                both = (link << 12 | accumulator) << 1
                both = both & 0o17777 | both >> 13
                link, accumulator = both >> 12, both & 0o7777
        elif word == 0o7510:
            counter += not accumulator & 0o4000
        elif word == 0o7420:
            counter += link
        else:
            page = (counter - 1) & 0o7600 if word & 0o200 else 0
            at = page | word & 0o177
            if word & 0o400:
                at = memory[at]
            if word >> 9 == 0o3:
                memory[at], accumulator = accumulator, 0
            else:
                assert word >> 9 == 0o5, f"{word:04o}"
                counter = at
    raise AssertionError("the loader never came to its end")


@pytest.mark.parametrize(
    ("minutes", "rate", "least", "most"),
    [(15, 450, 19, 21), (7.5, 450, 9.5, 10.5), (7.5, 300, 14.5, 15.5), (5, 70, 40, 45)],
)
def test_what_a_teleprinter_takes_minutes_for_a_fast_machine_does_in_seconds(
    minutes, rate, least, most
):
    """Common practice, no source: 10 frames a second at the teleprinter, about 45 times that at
    a fast reader; an 8 K interpreter's tape of 15 minutes in 20 s, a 4 K one of 7.5 minutes in
    10 to 15 s; a punch of 70 a second does 5 minutes' worth in well under one."""
    frames = round(minutes * 60 * 10)

    assert least <= seconds(frames, rate) <= most
    assert duration(seconds(frames, 10)) == f"{int(minutes)} min {round(minutes % 1 * 60)} s"
