"""Strips of tape on the pages: where data begins, letters, and beside what was found."""

import re
import shutil
import xml.etree.ElementTree as ET

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog.work import Role
from server.settings import Settings
from server.store.engine import make_engine
from server.tape.image import Image, Orientation
from server.tape.lettering import letter_frames
from server.web.strips import FRAMES_A_ROW, MOST_BESIDE, ROWS_A_PAGE
from tests.factories import acting, damaged, hex_tape, tape, text_tape, upload

LETTERS = letter_frames("TIDES 3")
LETTERED = bytes(30) + LETTERS + damaged(text_tape(leader=40), 70)
REVERSED = Image(LETTERED).turned(Orientation.REVERSED).frames
WORN = text_tape(*(f"{at} PRINT {at}" for at in range(10, 60)))
for frame in range(100, 700, 20):
    WORN = damaged(WORN, frame)
TAPES = {
    "lettered": LETTERED,
    "reversed": REVERSED,
    "hex": hex_tape(),
    "worn": WORN,
    "blank": bytes(200),
}


@pytest.fixture(scope="module")
def site(sqlite_template, tmp_path_factory):
    path = tmp_path_factory.mktemp("strips") / "library.db"
    shutil.copyfile(sqlite_template, path)
    settings = Settings(database_url=f"sqlite:///{path}", secure_cookies=False)
    engine = make_engine(settings)
    with acting(engine, Role.VOLUNTEER) as work:
        held = {name: upload(work, frames).image.sha256 for name, frames in TAPES.items()}
    engine.dispose()
    with TestClient(create_app(settings)) as client:
        yield client, held


def page(site, name, tail=""):
    client, held = site
    answer = client.get(f"/images/{held[name]}{tail}")
    assert answer.status_code == 200
    return answer.text


def strips(text):
    """The title of each strip on a page."""
    pictures = re.findall(r"<svg[^>]* class=\"picture\".*?</svg>", text, re.DOTALL)
    return [ET.fromstring(picture)[0].text for picture in pictures]


def test_the_page_of_an_image_shows_where_its_data_begins(site):
    assert strips(page(site, "hex"))[0] == f"Frames 54 to 113 of {len(hex_tape()):,}"


def test_a_blank_tape_is_shown_from_its_first_frame_on(site):
    text = page(site, "blank")

    assert strips(text)[0] == "Frames 0 to 59 of 200"
    assert "the tape is blank" in text


def test_letters_are_shown_whole_and_as_they_were_punched(site):
    for name in ("lettered", "reversed"):
        first, stop = (30, 30 + len(LETTERS)) if name == "lettered" else (
            len(LETTERED) - 30 - len(LETTERS), len(LETTERED) - 30,
        )  # fmt: skip
        text = page(site, name)
        assert f"Frames {first - 6} to {stop + 5} of {len(LETTERED)}" in strips(text)
        assert f"Letters in frames {first - 6} to {stop + 5}, as they were punched" in text


def test_a_finding_has_its_strip_beside_it_and_a_link_to_more(site):
    text = page(site, "lettered")
    damage = 30 + len(LETTERS) + 70

    assert f"Frames {damage - 6} to {damage + 7} of {len(LETTERED)}" in strips(text)
    assert f'/strip?start={damage - 6}">frame {damage}</a>' in text


def test_of_very_many_findings_the_first_have_a_strip(site):
    assert len(strips(page(site, "worn"))) == 1 + MOST_BESIDE


def test_the_page_of_a_tape_shows_its_strips_too(site):
    client, _ = site
    engine = client.app.state.engine
    with acting(engine) as work:
        number = tape(work).accession_number
    bare = client.get(f"/tapes/{number}")
    assert (bare.status_code, strips(bare.text)) == (200, [])
    with acting(engine) as work:
        upload(work, hex_tape(), tape=number)
    assert strips(client.get(f"/tapes/{number}").text) == strips(page(site, "hex"))


def test_the_whole_tape_is_shown_in_strips_page_by_page(site):
    whole = len(WORN)
    text = page(site, "worn", "/strip")

    assert strips(text) == [
        f"Frames {at} to {at + FRAMES_A_ROW - 1} of {whole:,}"
        for at in range(0, FRAMES_A_ROW * ROWS_A_PAGE, FRAMES_A_ROW)
    ]
    assert "Towards the first frame" not in text
    (onward,) = re.findall(r'href="([^"]+)" rel="next"', text)
    assert onward.endswith(f"/strip?start={FRAMES_A_ROW * ROWS_A_PAGE}")
    last = page(site, "worn", f"/strip?start={whole - 10}")
    assert strips(last) == [f"Frames {whole - 10} to {whole - 1} of {whole:,}"]
    assert "Towards the last frame" not in last
    assert f'start={whole - 10 - FRAMES_A_ROW * ROWS_A_PAGE}" rel="prev"' in last


def test_turned_strips_stand_in_the_order_in_which_they_were_punched(site):
    as_read = strips(page(site, "reversed", "/strip"))

    assert as_read[::-1] == strips(page(site, "reversed", "/strip?turned=punched"))
    assert strips(page(site, "hex", "/strip")) == strips(page(site, "hex", "/strip?turned=punched"))


@pytest.mark.parametrize(
    ("query", "title"),
    [
        ("", "Frames 0 to 59"),
        ("?start=10&frames=5", "Frames 10 to 14"),
        ("?start=10&frames=5&turned=punched", "Frames 10 to 14"),
        ("?start=-3&frames=-3", "Frames 0 to 0"),
        ("?start=1000000", f"Frames {len(LETTERED) - 1} to {len(LETTERED) - 1}"),
    ],
)
def test_a_strip_is_served_as_a_picture(site, query, title):
    client, held = site
    answer = client.get(f"/images/{held['reversed']}/strip.svg{query}")

    assert answer.headers["Content-Type"] == "image/svg+xml"
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert strips(answer.text) == [f"{title} of {len(LETTERED)}"]


@pytest.mark.parametrize("tail", ["/strip", "/strip.svg"])
def test_there_is_no_strip_of_what_is_not_held_or_from_no_number(site, tail):
    client, held = site

    assert client.get(f"/images/{'0' * 64}{tail}").status_code == 404
    assert client.get(f"/images/{held['hex']}{tail}?start=first").status_code == 400
