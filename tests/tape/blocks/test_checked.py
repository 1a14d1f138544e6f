"""Which frames are sound blocks, and which are none but should be."""

from itertools import pairwise

import pytest

from server.tape.blocks.program import BlockProgram
from server.tape.formats import FORMATS
from server.tape.formats.checksum_block import CheckedProgram, Rule
from server.tape.image import Image, Span
from server.tape.self_checking import Checked, SelfChecking
from server.tape.view import View
from tests.tape.checked_tapes import checked

MEMORY = {0x200: bytes(range(1, 251)) * 2}
TAPES = {
    "absolute-block": BlockProgram(MEMORY, block_length=50),
    "checksum-block": CheckedProgram(MEMORY, entry_address=0x200, block_length=50, label="LAMPS"),
}


def tape(name: str) -> bytes:
    return FORMATS[name].build(TAPES[name]).frames


@pytest.mark.parametrize("name", TAPES)
def test_every_block_of_a_clean_tape_is_sound(name: str) -> None:
    found = checked(tape(name), name)
    assert len(found.sound) == (11 if name == "absolute-block" else 10)
    assert found.faults == ()
    assert all(before.stop <= after.start for before, after in pairwise(found.sound))


@pytest.mark.parametrize("name", TAPES)
@pytest.mark.parametrize("block", [0, 4, 8])
def test_a_block_that_fails_is_a_fault_where_it_stands(name: str, block: int) -> None:
    frames = bytearray(tape(name))
    span = checked(bytes(frames), name).sound[block]
    frames[span.start + 20] ^= 6
    found = checked(bytes(frames), name)
    assert found.faults == (span,)
    del frames[span.start + 20]
    assert checked(bytes(frames), name).faults == (Span(span.start, span.stop - 1),)


def test_the_rule_of_the_whole_tape_holds_for_each_part() -> None:
    content = CheckedProgram(MEMORY, block_length=50, rule=Rule.DATA_ONLY)
    view = View(FORMATS["checksum-block"].build(content))
    form = FORMATS["checksum-block"]
    assert isinstance(form, SelfChecking)
    checker = form.checker(view)
    span = checker(view).sound[3]
    part = View(Image(view.image.frames[slice(*span)]))
    assert checker(part) == Checked((Span(0, span.frames),), ())


def test_a_part_without_any_block_is_all_fault() -> None:
    assert checked(b"\x05\x06\x07", "absolute-block") == Checked((), (Span(0, 3),))
    assert checked(bytes(30), "absolute-block") == Checked((), ())
