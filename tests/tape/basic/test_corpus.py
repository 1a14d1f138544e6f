"""Listings made by a grammar, crunched in every dialect and read back: whole, turned, damaged."""

from dataclasses import replace

import pytest

from server.tape.basic import DIALECTS
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.identify import decode
from server.tape.image import Orientation
from tests.tape.basic.corpus import program

SEEDS = range(25)
DAMAGING = ("line-damaged", "link-mismatch", "record-truncated", "lead-damaged")


def listed(basic):
    """The lines as the interpreter lists them: as typed, for they hold no small letters."""
    return [f"{number} {text}" for number, text in basic.lines]


def punched(basic):
    return CrunchedBasic().build(basic)


@pytest.mark.parametrize("name", DIALECTS)
@pytest.mark.parametrize("seed", SEEDS)
def test_a_program_is_read_in_the_dialect_in_which_it_was_crunched(name, seed):
    basic = program(DIALECTS[name], seed)

    decoding = decode(punched(basic).frames).decoding

    assert (decoding.format, decoding.dialect) == ("crunched-basic", name)
    assert [line.text for line in decoding.listing] == listed(basic)
    assert decoding.findings == ()


@pytest.mark.parametrize("name", DIALECTS)
@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("orientation", Orientation)
def test_a_program_is_read_however_the_tape_lay(name, seed, orientation):
    basic = program(DIALECTS[name], seed)

    decoded = decode(punched(basic).turned(orientation).frames)

    assert decoded.orientation is orientation
    assert decoded.decoding.dialect == name
    assert [line.text for line in decoded.decoding.listing] == listed(basic)


@pytest.mark.parametrize("name", [name for name in DIALECTS if DIALECTS[name].may_be_bare])
@pytest.mark.parametrize("seed", range(10))
def test_a_program_without_a_lead_is_no_damage_where_the_dialect_may_lack_it(name, seed):
    basic = replace(program(DIALECTS[name], seed), bare=True)

    decoded = decode(punched(basic).frames)

    assert (decoded.decoding.format, decoded.decoding.dialect) == ("crunched-basic", name)
    assert decoded.decoding.findings == ()
    assert list(decoded.decoding.memory) == [basic.start_address]
    assert decoded.leader_frames == basic.leader


def damages(frames, seed):
    """The frames with a wrong hole, one dropped, one doubled, in the midst of the program."""
    at = len(frames) // 4 + 37 * seed % (len(frames) // 2)
    flipped = frames[at] ^ 1 << seed % 8
    yield "flipped", frames[:at] + bytes([flipped]) + frames[at + 1 :]
    yield "dropped", frames[:at] + frames[at + 1 :]
    yield "doubled", frames[: at + 1] + frames[at:]


@pytest.mark.parametrize("name", DIALECTS)
@pytest.mark.parametrize("seed", SEEDS)
def test_damage_costs_no_more_than_the_lines_it_touches(name, seed):
    basic = program(DIALECTS[name], seed)

    for kind, frames in damages(punched(basic).frames, seed):
        decoding = decode(frames).decoding
        texts = {line.text for line in decoding.listing}
        lost = [line for line in listed(basic) if line not in texts]

        assert (decoding.format, decoding.dialect) == ("crunched-basic", name), kind
        assert len(lost) <= 2, kind
        # A wrong hole in a text is a wrong character, of which nothing tells; all else is told.
        if kind != "flipped":
            assert any(each.kind in DAMAGING for each in decoding.findings), kind
