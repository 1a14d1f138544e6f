"""Two images compared, as a page: every difference is a link, with an anchor on both sides."""

import re

import pytest

from server.catalog.work import Role
from tests import factories
from tests.bench.programs import program, renumbered_throughout
from tests.catalog.test_byte_by_byte import DATA
from tests.catalog.test_kinship import s_record
from tests.web.library import KITES


@pytest.fixture
def visitor(client_of):
    return client_of(Role.VISITOR)


@pytest.fixture
def work(app):
    with factories.acting(app.state.engine) as work:
        yield work


def compared(visitor, work, a, b, **others):
    names = [factories.upload(work, each, **others).image.sha256 for each in (a, b)]
    work.session.commit()
    page = visitor.get(f"/images/{names[0]}/compare/{names[1]}")
    assert page.status_code == 200
    ids = re.findall(r'\bid="([^"]+)"', page.text)
    assert len(ids) == len(set(ids))
    inner = {each for each in re.findall(r'href="#([^"]+)"', page.text) if each != "main"}
    assert inner <= set(ids)
    return page.text, names


def test_each_line_that_differs_leads_to_itself_and_to_both_listings(visitor, library):
    page = visitor.get(f"/images/{library.kites}/compare/{library.seeded}").text
    assert '<a href="#r2">' in page
    assert f'<a href="/images/{library.seeded}/listing#L2" id="r2">2</a>' in page
    assert f'<a href="/images/{library.kites}/listing#L2" id="l2">2</a>' in page
    assert "Memory compared" not in page
    assert "Frames compared" not in page


def test_a_program_numbered_anew_stands_beside_itself_line_by_line(visitor, work):
    from random import Random

    base = program(Random(3), 20)
    other = renumbered_throughout(Random(4), base)
    page, _ = compared(visitor, work, factories.text_tape(*base), factories.text_tape(*other))
    assert "the same program under other line numbers" in page
    assert "row-added" not in page
    assert "row-changed" not in page


def test_memory_that_differs_is_told_by_address(visitor, work):
    patched = DATA[:9] + b"\0\0" + DATA[11:]
    page, names = compared(visitor, work, s_record(0x100, DATA), s_record(0x100, patched))
    assert "Memory compared" in page
    assert f'<a id="lm0109" href="/images/{names[0]}/listing?q=0100">' in page
    assert f'<a id="rm0109" href="/images/{names[1]}/listing?q=0100">' in page
    assert "<code>00 00</code>" in page
    page, _ = compared(visitor, work, s_record(0x1000, DATA), s_record(0x2000, DATA))
    assert "stands 4,096 addresses higher" in page
    assert "Every address holds the same on both sides." in page


def test_two_readings_are_told_frame_by_frame_with_strips(visitor, work):
    tape = factories.tape(work).accession_number
    reel = factories.text_tape(*KITES)
    page, names = compared(visitor, work, reel, factories.damaged(reel, 90, 3), tape=tape)
    section = page[page.index('id="frames"') : page.index('id="listings"')]
    assert "one frame changed" in section or "1 frame changed" in section
    for side, name in zip("lr", names, strict=True):
        assert f'<a id="{side}f90" href="/images/{name}/strip?start=84">frame 90</a>' in section
    assert section.count("<svg") == 2
    assert "channel" in section
    same, _ = compared(visitor, work, reel, bytes(30) + reel, tape=tape)
    assert "All frames between leader and trailer are the same." in same


def test_readings_that_differ_too_much_are_only_said_to(visitor, work, monkeypatch):
    monkeypatch.setattr("server.catalog.byte_by_byte.MOST_CHANGES", 2)
    tape = factories.tape(work).accession_number
    page, _ = compared(
        visitor, work, factories.text_tape(*KITES), factories.text_tape("10 END"), tape=tape
    )
    assert "are not set side by side one by one" in page
