"""The pages of load sheets: who may write, what comes back, and that text stays text."""

import re

import pytest

from server.tape.blocks.program import BlockProgram
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.bin12 import Bin12
from server.tape.twelve_bit.program import WordProgram
from tests import factories
from tests.web.library import HOSTILE


def texts(**others):
    return {"needs": "", "steps": "", "revision": "1", "note": ""} | others


@pytest.fixture
def sheet(library, visitor):
    """The address of the sheet of the first version of the kites."""
    page = visitor.get(f"/programs/{library.program}").text
    return re.findall(r'href="(/programs/\d+/versions/\d+/sheet)"', page)[-1]


def test_the_sheet_of_a_tape_leads_to_that_of_its_version(visitor, library, sheet):
    tape = visitor.get("/tapes/1979.1").text
    link = f"/images/{library.kites}/sheet"
    led = visitor.get(link)

    assert f'href="{link}"' in tape
    assert (led.status_code, led.headers["location"]) == (303, sheet)


def test_an_image_without_a_program_has_a_sheet_of_its_own(visitor, library):
    page = visitor.get(f"/images/{library.hex}/sheet")

    assert page.status_code == 200
    assert "Monitor patch" in page.text
    assert "0100 to 013F" in page.text
    assert f'href="/images/{library.hex}/sheet/history"' in page.text


def test_what_a_volunteer_writes_is_shown_as_plain_text(volunteer, sheet):
    sent = volunteer.fill_in(f"{sheet}/edit", **texts(steps=f"{HOSTILE}\n*Go* on"))
    page = volunteer.get(sheet).text

    assert (sent.status_code, sent.headers["location"]) == (303, sheet)
    assert "<script>alert" not in page
    assert "<li>&lt;script&gt;" in page
    assert "<li>*Go* on</li>" in page
    assert "Pat the volunteer" in page


def test_what_cannot_be_taken_is_said_at_its_field_and_nothing_is_lost(volunteer, sheet):
    sent = volunteer.fill_in(f"{sheet}/edit", **texts(bootstrap="100: XYZ", steps="Ours"))

    assert sent.status_code == 422
    assert "line 1: XYZ is no number in hexadecimal" in sent.text
    assert "Ours</textarea>" in sent.text
    assert "<title>Error: " in sent.text


def test_somebody_elses_change_is_not_overwritten(volunteer, archivist, sheet):
    archivist.fill_in(f"{sheet}/edit", **texts(worked="First"))
    late = volunteer.fill_in(f"{sheet}/edit", **texts(worked="Second"))

    assert late.status_code == 412
    assert "Second</textarea>" in late.text
    assert "First" in volunteer.get(sheet).text


def test_an_earlier_text_is_brought_back_from_the_history(volunteer, sheet):
    volunteer.fill_in(f"{sheet}/edit", **texts(worked="A kite"))
    volunteer.fill_in(f"{sheet}/edit", **texts(worked="Two kites", revision="2", note="More"))
    history = volunteer.get(f"{sheet}/history").text
    back = volunteer.fill_in(f"{sheet}/back", seen_at=f"{sheet}/history", to="2", revision="3")
    none = volunteer.fill_in(f"{sheet}/back", seen_at=f"{sheet}/history", to="x", revision="4")

    assert "<del>A</del>" in history
    assert "More" in history
    assert (back.status_code, none.status_code) == (303, 404)
    assert "A kite" in volunteer.get(sheet).text


def test_a_visitor_reads_the_history_but_is_offered_no_change(visitor, sheet):
    assert "Go back" not in visitor.get(f"{sheet}/history").text
    assert "Write on it" not in visitor.get(sheet).text


def test_a_sheet_that_is_too_long_says_so(volunteer, sheet):
    volunteer.fill_in(f"{sheet}/edit", **texts(steps="\n".join(["Wait"] * 200)))

    assert "Longer than one page" in volunteer.get(sheet).text


@pytest.mark.parametrize(
    "path",
    [
        "/programs/1/versions/x/sheet",
        "/programs/x/versions/1/sheet",
        "/programs/1/versions/99/sheet",
        f"/images/{'0' * 64}/sheet",
        "/images/abc/sheet/history",
    ],
)
def test_a_sheet_that_there_is_not_is_not_found(visitor, path):
    assert visitor.get(path).status_code == 404


WORDS = Bin12().build(WordProgram({0o200: bytes.fromhex("0E80028307020022")})).frames
PAIRS = AbsoluteBlock().build(BlockProgram({0o1000: bytes(range(32))}, entry_address=0o1000)).frames


@pytest.mark.parametrize(
    ("frames", "loads", "title"),
    [
        (WORDS, "0200 to 0203", "octal, words of 12 bits"),
        (PAIRS, "001000 to 001037", "octal, 16 bits"),
    ],
)
def test_every_page_writes_addresses_as_the_people_of_the_machine_did(
    app, visitor, frames, loads, title
):
    with factories.acting(app.state.engine) as work:
        factories.tape(work, accession_number="1980.1")
        sha256 = factories.upload(work, frames, tape="1980.1").image.sha256
    for path in (f"/images/{sha256}", "/tapes/1980.1", f"/images/{sha256}/sheet"):
        page = visitor.get(path).text

        assert loads in page, path
        assert title in page, path
