import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.cpu import PROCESSORS
from server.tape.cpu.notation import Notation
from server.tape.formats import FORMATS
from server.tape.machine_notation import (
    AS_CHOSEN,
    BY_FORMAT,
    BY_PROCESSOR,
    HEXADECIMAL,
    OCTAL,
    OCTAL_WORDS,
    SPLIT_OCTAL,
    writing_of,
)
from server.tape.material import Kind, Material, Writing
from server.tape.view import View


def test_the_tables_name_formats_and_processors_that_there_are():
    assert BY_FORMAT.keys() <= FORMATS.keys()
    assert BY_PROCESSOR.keys() == PROCESSORS.keys()


@pytest.mark.parametrize(
    ("given", "writing"),
    [
        (("bin12",), OCTAL_WORDS),
        (("rim12", "8080"), OCTAL_WORDS),
        (("absolute-block",), OCTAL),
        (("checksum-block",), SPLIT_OCTAL),
        (("bootstrap+checksum-block", "8080"), SPLIT_OCTAL),
        (("intel-hex", "8080", "8080 machine, front panel"), HEXADECIMAL),
        (("raw-binary", "8080"), SPLIT_OCTAL),
        (("raw-binary", "6800"), HEXADECIMAL),
        (("raw-binary", "6800", "an 8080 machine"), SPLIT_OCTAL),
        (("unrecognised", None, "12-bit machine"), OCTAL_WORDS),
        (("unrecognised", None, "16-bit minicomputer"), OCTAL),
        (("unrecognised", None, "Z80 machine, 16-bit bus"), HEXADECIMAL),
        (("text",), HEXADECIMAL),
    ],
)
def test_the_format_decides_then_the_machine_then_the_processor(given, writing):
    assert writing_of(*given) == writing


LOADING = [name for name in FORMATS if {Kind.MEMORY, Kind.WORDS} & set(FORMATS[name].takes)]


@pytest.mark.parametrize("name", LOADING)
def test_the_cells_of_a_format_are_those_that_its_tapes_are_decoded_to(name):
    each = FORMATS[name]
    kind = Kind.WORDS if Kind.WORDS in each.takes else Kind.MEMORY
    tape = each.write(Material(kind, memory={0o200: bytes(range(1, 9)) * 4}), Writing())
    assert each.parse(View(tape)).cell_bytes == writing_of(name).cell_bytes


def test_formats_of_words_and_of_bytes_are_both_among_those_tried():
    assert {writing_of(name).cell_bytes for name in LOADING} == {1, 2}


@pytest.mark.parametrize("notation", list(Notation))
def test_a_notation_chosen_by_hand_comes_before_all_but_keeps_the_cells(notation):
    assert writing_of("intel-hex", chosen=notation) == AS_CHOSEN[notation.value, 1]
    assert writing_of("bin12", chosen=notation).cell_bytes == 2


def test_words_are_never_split_in_bytes():
    assert writing_of("bin12", chosen="split-octal") == OCTAL_WORDS


@pytest.mark.parametrize(
    ("writing", "span", "entry"),
    [
        (HEXADECIMAL, "0100 to 01FF", "01FF"),
        (OCTAL, "000400 to 000777", "000777"),
        (OCTAL_WORDS, "0400 to 0777", "0777"),
        (SPLIT_OCTAL, "001 000 to 001 377 (hex 0100 to 01FF)", "001 377 (hex 01FF)"),
    ],
)
def test_a_range_is_written_in_full(writing, span, entry):
    assert writing.span_in_full(0x100, 0x1FF) == span
    assert writing.address_in_full(0x1FF) == entry


@given(st.integers(0, 0xFFFF), st.sampled_from((HEXADECIMAL, OCTAL, SPLIT_OCTAL)))
def test_an_address_is_read_back_from_its_digits(value, writing):
    digits = [int(part, 16 if writing is HEXADECIMAL else 8) for part in
              writing.address(value).split()]  # fmt: skip

    assert sum(part << 8 * place for place, part in enumerate(reversed(digits))) == value
