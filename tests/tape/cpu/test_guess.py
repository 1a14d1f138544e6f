import random

import pytest

from server.tape.cpu.guess import guess_processor

PROGRAMS = {
    # Each prints a text through a routine of the monitor, written for this test.
    "8080": (0x100, "21 10 01 7E B7 CA 00 F0 CD 20 F0 23 C3 03 01 00"),
    "z80": (0x100, "21 0F 01 7E B7 28 06 CD 20 F0 23 18 F6 C9 00"),
    "6502": (0x200, "A2 00 BD 10 02 F0 06 20 EF FF E8 D0 F5 60 00 00"),
    "6800": (0x100, "CE 01 10 A6 00 27 06 BD E1 D1 08 20 F6 3F 00 00"),
}


@pytest.mark.parametrize("processor", PROGRAMS)
def test_a_short_program_betrays_its_processor(processor):
    start, code = PROGRAMS[processor]

    guess = guess_processor({start: bytes.fromhex(code) + b"TIDES\x00"}, [start])

    assert guess is not None
    assert guess.processor == processor
    assert guess.likelihood > 0.9


def test_a_program_that_both_could_run_is_taken_for_the_older_processor():
    guess = guess_processor({0x100: bytes.fromhex("3E 41 D3 01 C3 00 01")}, [0x100])

    assert guess is not None
    assert guess.processor == "8080"


def test_noise_is_no_program():
    generator = random.Random(5)

    guesses = [guess_processor({0x100: generator.randbytes(500)}) for _ in range(100)]

    assert sum(guess is not None for guess in guesses) <= 1


def test_words_of_twelve_bits_leave_one_processor():
    guess = guess_processor({0o200: b"\x0e\x80\x0f\x02"}, [0o200], cell_bytes=2)

    assert guess is not None
    assert guess.processor == "12-bit"


def test_nothing_loaded_is_no_program():
    assert guess_processor({0x20000: b"beyond"}) is None
