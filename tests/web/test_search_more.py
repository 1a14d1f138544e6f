"""Search for bytes as pages show it: in the notation of the machine that the bytes are for."""

import re
import shutil
from html import unescape

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog.work import Role
from server.settings import Settings
from server.store.engine import make_engine
from server.tape.blocks.program import BlockProgram
from server.tape.formats.absolute_block import AbsoluteBlock
from tests.catalog.test_byte_by_byte import bin12
from tests.factories import acting, hex_tape, upload

MACHINE = bytes.fromhex("3E41D301C30001215555CD0501C9") + bytes(range(40))
TAPES = {
    "hex": hex_tape(0x100, bytes.fromhex("AA55") + MACHINE[2:]),
    "words": bin12(0o300, [0o7300, 0o1234, *range(0o100, 0o130), 0o4321, 0o5776]),
    "octal": AbsoluteBlock().build(BlockProgram({0o1000: MACHINE})).frames,
}


@pytest.fixture(scope="module")
def site(sqlite_template, tmp_path_factory):
    path = tmp_path_factory.mktemp("bytes") / "library.db"
    shutil.copyfile(sqlite_template, path)
    settings = Settings(database_url=f"sqlite:///{path}", secure_cookies=False)
    engine = make_engine(settings)
    with acting(engine, Role.VOLUNTEER) as work:
        held = {name: upload(work, data).image.sha256 for name, data in TAPES.items()}
    engine.dispose()
    with TestClient(create_app(settings)) as client:
        yield client, held


def hits(client, **asked):
    """Where the bytes stand, and the bytes as they are written."""
    page = client.get("/search/bytes", params=asked).text
    places = re.findall(r'<span class="at">([^<]*)</span>[^<]*<mark>([^<]*)</mark>', page)
    return places, [
        unescape(each) for each in re.findall(r'class="hit-text[^>]*><a href="([^"]*)"', page)
    ]


def test_words_are_shown_at_their_address_in_octal_and_lead_to_their_line(site):
    client, held = site
    places, (href,) = hits(client, bytes="08 D1 0B FE", where="memory")
    assert places == [("0332", "4321 5776")]
    line = re.search(rf'id="{href.partition("#")[2]}".*?</div>', client.get(href).text, re.DOTALL)
    assert line is not None
    assert "0330" in line[0]
    assert f"/images/{held['words']}/listing" in href


def test_bytes_of_each_machine_are_shown_in_its_notation(site):
    client, _ = site
    assert hits(client, bytes="AA 55 D3", where="memory")[0] == [("0100", "AA 55 D3")]
    assert hits(client, bytes="3E 41 D3", where="memory")[0] == [("001000", "076 101 323")]


def test_found_frames_and_the_page_that_they_lead_to_are_written_alike(site):
    client, _ = site
    ((_, found),), (href,) = hits(client, bytes="3E 41 D3", where="frames")
    page = client.get(href).text
    assert found == "076 101 323"
    assert re.findall(r"<mark>(\w+)</mark>", page) == ["076", "101", "323"]
    assert "a byte each in octal" in page


def test_an_example_of_bytes_is_shown_as_a_search_shows_it(site):
    client, _ = site
    form = client.get("/search/by-example").text
    secret = re.search(r'name="csrf" value="([0-9a-f]+)"', form)
    data = {"bytes": "08 D1 0B FE"} | ({"csrf": secret[1]} if secret else {})
    page = client.post("/search/by-example", data=data).text
    assert '<span class="at">0332</span>' in page
    assert "<mark>4321 5776</mark>" in page
