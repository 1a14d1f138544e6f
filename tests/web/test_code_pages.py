"""Pages of machine code and of BASIC listings: what leads where, and to which frames."""

import re
import shutil

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog.work import Role
from server.settings import Settings
from server.store.engine import make_engine
from server.tape.basic import DIALECTS
from server.tape.blocks.program import BlockProgram
from server.tape.formats import FORMATS
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.raw_binary import RawCode
from server.tape.hexadecimal.program import HexProgram
from server.web.listed import Link, Piece, linked
from tests.factories import acting, text_tape, upload
from tests.tape.basic.corpus import program
from tests.tape.code_tapes import invented_code
from tests.tape.test_program_view import PROGRAM

LONG = [f"{number} GOTO {number + 10}" for number in range(10, 55_000, 10)] + ["55000 A(I)=B$"]


def hexed(memory, entry=None):
    return FORMATS["intel-hex"].build(HexProgram(memory, entry_address=entry)).frames


BASIC = CrunchedBasic().build(program(DIALECTS["8k-8080"], 3)).frames
TAPES = {
    "hex": hexed({0x100: PROGRAM}, 0x100),
    "long": hexed({0x100: invented_code("8080", 0x8000, 0x100, 3)}, 0x100),
    "bare": FORMATS["raw-binary"].build(RawCode(invented_code("6502", 600, 0x1000, 3))).frames,
    "octal": AbsoluteBlock().build(BlockProgram({0o1000: PROGRAM})).frames,
    "basic": BASIC,
    "listing": text_tape(*LONG),
    "two": BASIC + bytes(100) + hexed({0x100: PROGRAM}, 0x100),
    "letter": text_tape("TO THE KEEPER", "THE LIGHT IS OUT AGAIN", "PLEASE SEE TO IT"),
}


@pytest.fixture(scope="module")
def site(sqlite_template, tmp_path_factory):
    path = tmp_path_factory.mktemp("code") / "library.db"
    shutil.copyfile(sqlite_template, path)
    settings = Settings(database_url=f"sqlite:///{path}", secure_cookies=False)
    engine = make_engine(settings)
    with acting(engine, Role.VOLUNTEER) as work:
        held = {name: upload(work, data).image.sha256 for name, data in TAPES.items()}
    engine.dispose()
    with TestClient(create_app(settings)) as client:
        yield client, held


@pytest.fixture
def page(site):
    client, held = site

    def get(name, what="", **asked):
        answer = client.get(f"/images/{held[name]}{what}", params=asked)
        return answer.status_code, answer.text

    return get


def line(body, anchor):
    found = re.search(rf'<div class="line[^"]*" id="{anchor}">.*?</div>', body)
    assert found is not None
    return found[0]


def test_statements_lead_to_one_another_and_to_their_frames(page):
    status, body = page("hex", "/code")
    assert status == 200
    assert '<a href="#A011C">D011C</a>' in line(body, "A0103")
    assert 'from <a href="#A010F">010F</a>' in line(body, "A0106")
    assert re.search(r'<a class="frames" href="/images/\w+/strip\?start=60">', line(body, "A0100"))
    assert "Read as code of the 8080, " in body
    assert '<option value="12-bit"' not in body


def test_processor_and_notation_are_chosen_by_the_form(page):
    _, body = page("hex", "/code", processor="z80", notation="split-octal")
    assert "LD HL," in line(body, "A0103")
    assert ">001 003</a>" in line(body, "A0103")
    assert '<option value="z80" selected>' in body
    assert '<option value="split-octal" selected>' in body
    assert "listing?processor=z80&amp;notation=split-octal&amp;as=code" in body


def test_a_processor_that_there_is_not_is_said(page):
    status, body = page("hex", "/code", processor="z81")
    assert status == 422
    assert "No processor z81 is known" in body


def test_long_code_is_shown_in_pages_that_lead_to_one_another(page):
    _, first = page("long", "/code", notation="octal")
    assert "Part 1 of " in first
    onward = re.search(r'href="(\?processor=&amp;notation=octal&amp;page=(\d)#A(\w{4}))"', first)
    assert onward
    _, other = page("long", "/code", notation="octal", page=onward[2])
    assert f'id="A{onward[3]}"' in other
    assert page("long", "/code", page=99)[0] == 200


def test_where_bare_code_is_shown_is_said(page):
    _, body = page("bare", "/code")
    assert "does not say where it is loaded; it is shown as if at 1000" in body


def test_an_image_that_loads_nothing_has_no_code(page):
    status, body = page("letter", "/code")
    assert status == 404
    assert "loads nothing into memory" in body


@pytest.mark.parametrize(("name", "leads"), [("hex", True), ("bare", True), ("two", True)])
def test_images_with_code_lead_to_it(page, name, leads):
    assert ('/code">As machine code</a>' in page(name)[1]) is leads


@pytest.mark.parametrize("name", ["basic", "letter"])
def test_images_without_code_do_not(page, name):
    assert "As machine code" not in page(name)[1]


def test_parts_are_shown_where_there_are_several(page):
    _, body = page("two")
    assert "Parts of the tape" in body
    assert body.index(">Crunched BASIC</td>") < body.index(">Intel hexadecimal</td>")
    assert "Parts of the tape" not in page("hex")[1]


def test_the_processor_is_among_the_facts(page):
    assert re.search(r"<dt>Processor</dt>\s*<dd>8080, ", page("hex")[1])
    assert "<dt>Processor</dt>" not in page("basic")[1]


def test_lines_of_basic_lead_to_one_another(page):
    _, body = page("listing", "/listing")
    assert 'GOTO <a href="#L2">20</a>' in line(body, "L1")
    assert 'GOTO <a href="?page=2#L5001">50010</a>' in line(body, "L5000")


def test_a_run_that_is_marked_is_kept_on_the_way_to_another_part(page):
    _, body = page("listing", "/listing", q="GOTO 5001")
    marked = '<mark>GOTO </mark><a href="?q=GOTO+5001&amp;page=2#L5001"><mark>5001</mark></a>'
    assert f'{marked}<a href="?q=GOTO+5001&amp;page=2#L5001">0</a>' in line(body, "L5000")


def test_names_are_listed_with_the_lines_that_use_them(page):
    _, body = page("listing", "/listing")
    assert "Names used (3)" in body
    row = r'<th scope="row" data-label="Name"><code>(.*?)</code></th>\s*<td[^>]*>(.*?)<'
    rows = re.findall(row, body)
    assert rows == [("A", "array of numbers"), ("B$", "text"), ("I", "number")]
    assert '<a href="?page=2#L5500">55000</a>' in body


def test_a_listing_that_is_no_basic_has_neither(page):
    _, body = page("letter", "/listing")
    assert "Names used" not in body


def test_links_cut_marked_pieces():
    pieces = (Piece("GO"), Piece("TO 1", is_run=True), Piece("00,200"))
    assert linked(pieces, [Link(5, 8, "#a"), Link(9, 12, "#b")]) == (
        Piece("GO"),
        Piece("TO ", is_run=True),
        Piece("1", is_run=True, href="#a"),
        Piece("00", href="#a"),
        Piece(","),
        Piece("200", href="#b"),
    )


def test_code_of_an_octal_machine_is_shown_in_octal_unless_asked_otherwise(page):
    _, body = page("octal", "/code", processor="8080")
    _, asked = page("octal", "/code", processor="8080", notation="hex")
    assert "001000</a>" in line(body, "A0200")
    assert "061 000 002" in line(body, "A0200")
    assert "0200</a>" in line(asked, "A0200")
