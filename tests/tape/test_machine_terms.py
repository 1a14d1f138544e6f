import pytest

from server.tape.anatomy import BOOTSTRAP
from server.tape.cpu.notation import Notation
from server.tape.formats import FORMATS
from server.tape.identify import decode
from server.tape.machine_terms import Cells, cells_of
from tests import factories
from tests.catalog.test_byte_by_byte import bin12


@pytest.mark.parametrize(
    ("name", "cells"),
    [
        ("bin12", Cells(2, Notation.OCTAL)),
        ("rim12", Cells(2, Notation.OCTAL)),
        (f"{BOOTSTRAP}bin12", Cells(2, Notation.OCTAL)),
        ("absolute-block", Cells(1, Notation.OCTAL)),
        ("intel-hex", Cells(1, Notation.HEX)),
    ],
)
def test_each_format_has_the_cells_and_the_notation_of_its_machine(name: str, cells: Cells) -> None:
    assert name.removeprefix(BOOTSTRAP) in FORMATS
    assert cells_of(name) == cells


@pytest.mark.parametrize("tape", [bin12(0o200, [0o7300] * 99), factories.hex_tape()])
def test_the_cells_of_a_format_are_those_that_its_tapes_are_decoded_to(tape: bytes) -> None:
    decoding = decode(tape).decoding
    assert cells_of(decoding.format).bytes == decoding.cell_bytes
