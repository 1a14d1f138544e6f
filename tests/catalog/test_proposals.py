import pytest

from server.catalog import images, proposals
from server.catalog.proposals import Proposal
from server.catalog.vocabulary import Condition, Medium
from server.tape.formats.s_record import SRecord
from server.tape.hexadecimal.program import HexProgram
from tests import factories


@pytest.fixture
def propose(sqlite_engine):
    def ask(data: bytes, name: str = "untitled_reel 7.bin", **others) -> Proposal:
        with factories.acting(sqlite_engine) as work:
            image = factories.upload(work, data, file_name=name, **others).image
            return proposals.propose(image, images.listing(work, image.sha256), name)

    return ask


def s_record_tape(header: bytes) -> bytes:
    return SRecord().build(HexProgram({0x100: bytes(range(40))}, 0x100, header=header)).frames


def test_a_remark_at_the_head_of_a_program_is_its_title(propose):
    assert propose(factories.text_tape()).title == "TIDE TABLE"


def test_an_ornament_is_no_title(propose):
    tape = factories.text_tape("10 REM *******", "20 REM -- MOON --", "30 PRINT 1", "40 END")

    assert propose(tape).title == "MOON"


def test_who_wrote_it_is_its_origin(propose):
    tape = factories.text_tape("10 REM MOON", "20 REM WRITTEN BY THE LOFT CLUB", "30 END")

    assert propose(tape).origin == "THE LOFT CLUB"


def test_the_header_of_a_tape_is_its_title(propose):
    assert propose(s_record_tape(b"MONITOR 1.2")).title == "MONITOR 1.2"


@pytest.mark.parametrize("header", [b"it's", b'a "b"', b"\x01\x02\xff"])
def test_any_header_is_read(propose, header):
    assert propose(s_record_tape(header)).title


def test_the_name_of_the_file_is_better_than_nothing(propose):
    assert propose(bytes(range(256))).title == "untitled reel 7"
    assert propose(factories.hex_tape(), "").title == "unnamed"


@pytest.mark.parametrize(("levels", "width"), [(5, "17.46"), (7, "22.23"), (8, "25.40")])
def test_the_levels_say_how_wide_the_tape_is(propose, levels, width):
    found = propose(b"\x1f\x0a\x15" * 40, levels=levels)

    assert (found.medium, found.levels) == (Medium.PAPER, levels)
    assert f"{levels} levels is {width} mm wide" in found.medium_sentence


def test_damage_in_the_image_points_at_the_tape(propose):
    sound = propose(factories.text_tape())
    damaged = propose(factories.damaged(factories.text_tape(), 100))

    assert "Nothing in the image points at damage" in sound.condition_sentence
    assert "damaged in one place" in damaged.condition_sentence
    assert damaged.condition == Condition.NOT_EXAMINED


def test_the_loader_requirement_says_what_is_loaded_and_where_it_starts(propose):
    found = propose(factories.hex_tape(0x100))

    assert "loads 0100-013F; starts at 0100" in found.loader_requirement
    assert propose(factories.text_tape()).loader_requirement == "a BASIC interpreter"
