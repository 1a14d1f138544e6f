"""A tape read from the browser by Web Serial, straight into the form of an upload."""

import hashlib
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser import site as demonstration
from tests.browser.conftest import sign_in
from tests.browser.new_tapes import stirred_dice
from tests.browser.serial_ports import heard, with_machine

DC1, DC3 = 0x11, 0x13


@pytest.fixture(scope="module")
def site(library, tmp_path_factory) -> Iterator[str]:
    """One demonstration for all tests here: each reads a tape of its own."""
    with demonstration.served(library, tmp_path_factory.mktemp("station")) as url:
        yield url


def _tape(*leader: int) -> bytes:
    """A tape that no other test reads: its leader is as long as `leader` says."""
    return bytes(sum(leader)) + stirred_dice().frames + bytes(220)


def _pieces(frames: bytes, size: int = 200) -> list[object]:
    return [list(frames[at : at + size]) for at in range(0, len(frames), size)]


def _upload_page(page: Page):
    sign_in(page)
    page.goto("/upload")
    page.get_by_text("Read a tape at this computer's serial port").click()
    return page.locator("[data-station=read]")


def test_a_tape_is_read_straight_into_the_upload(open_page, width):
    page = open_page(width)
    frames = _tape(width // 10, 1)
    with_machine(page, pieces=_pieces(frames), waits=True)
    place = _upload_page(page)
    place.get_by_label("Baud").fill("4800")
    place.get_by_label("Stop bits").select_option("1")
    place.get_by_label("Start and stop the reader").check()
    place.get_by_role("button", name="Choose the port and read").click()

    expect(place.get_by_role("status")).to_contain_text("Read to the end (trailer)")
    expect(place).to_contain_text(f"{len(frames):,} frames")
    results = page.get_by_role("list", name="What became of the files")
    expect(results).to_contain_text("Crunched BASIC")
    expect(results).to_contain_text(re.compile(r"read-\d{8}T\d{6}\.bin"))
    assert heard(page) == bytes([DC1, DC3])
    opened = page.evaluate("window.machine.opened")
    asked = (opened["baudRate"], opened["dataBits"], opened["stopBits"], opened["flowControl"])
    assert asked == (4800, 8, 1, "none")
    assert page.evaluate("window.machine.closed")
    digest = hashlib.sha256(frames).hexdigest()
    answer = page.request.get(f"/api/v1/images/{digest}")
    assert answer.ok
    assert answer.json()["readings"][0]["read_on"]


def test_frames_that_come_damaged_are_located_and_the_rest_is_kept(open_page, width):
    page = open_page(width)
    frames = _tape(width // 10, 2)
    pieces = _pieces(frames)
    pieces[1:1] = ["ParityError"]
    pieces[3:3] = ["BreakError"]
    with_machine(page, pieces=pieces)
    place = _upload_page(page)
    place.get_by_role("button", name="Choose the port and read").click()

    expect(place.get_by_role("status")).to_contain_text("Read to the end")
    faults = place.get_by_role("list", name="Frames that came damaged").get_by_role("listitem")
    expect(faults).to_have_text(
        ["frame 200 (508.0 mm): a parity error", "frame 400 (1,016.0 mm): a break on the line"]
    )
    expect(page.get_by_role("list", name="What became of the files")).to_contain_text("stored")
    assert page.request.get(f"/api/v1/images/{hashlib.sha256(frames).hexdigest()}").ok


def test_a_line_that_is_lost_midway_keeps_what_came_and_asks(open_page, width):
    page = open_page(width)
    frames = _tape(width // 10, 3)
    with_machine(page, pieces=[*_pieces(frames[:600]), "NetworkError"])
    place = _upload_page(page)
    place.get_by_role("button", name="Choose the port and read").click()

    expect(place.get_by_role("status")).to_contain_text("It ended early (the line is gone): 600")
    results = page.get_by_role("list", name="What became of the files")
    expect(results.get_by_role("listitem")).to_have_count(0)
    place.get_by_role("button", name="Use what came in").click()
    expect(results).to_contain_text("stored")
    assert page.request.get(f"/api/v1/images/{hashlib.sha256(frames[:600]).hexdigest()}").ok


def test_a_reader_is_stopped_by_hand(open_page, width):
    page = open_page(width)
    with_machine(page, pieces=_pieces(_tape()[:200]), waits=True)
    place = _upload_page(page)
    place.get_by_label("Start and stop the reader").check()
    place.get_by_role("button", name="Choose the port and read").click()
    expect(place).to_contain_text("200 frames")
    place.get_by_role("button", name="Stop").click()

    expect(place.get_by_role("status")).to_contain_text("stopped by hand")
    assert heard(page) == bytes([DC1, DC3])


def test_no_port_chosen_starts_nothing(open_page, width):
    page = open_page(width)
    with_machine(page, none=True)
    place = _upload_page(page)
    place.get_by_role("button", name="Choose the port and read").click()

    expect(place.get_by_role("status")).to_contain_text("nothing was started")


def test_where_the_browser_has_no_serial_ports_nothing_of_it_is_shown(open_page, width):
    page = open_page(width)
    page.add_init_script("delete Navigator.prototype.serial")
    sign_in(page)
    page.goto("/upload")

    expect(page.get_by_label("Files", exact=True)).to_be_visible()
    expect(page.locator("[data-station=read]")).to_be_hidden()


def test_a_tape_that_must_not_be_run_is_not_read(open_page):
    page = open_page(390)
    with_machine(page, pieces=_pieces(_tape(3)))
    place = _upload_page(page)
    page.get_by_text("About this reading").click()
    page.get_by_label("Accession number").first.fill("2021.4")
    place.get_by_role("button", name="Choose the port and read").click()

    expect(place.get_by_role("status")).to_contain_text("Do not run this tape")
    expect(place.get_by_role("status")).to_contain_text("An archivist can allow one reading")
    assert page.evaluate("window.machine.opened ?? null") is None
