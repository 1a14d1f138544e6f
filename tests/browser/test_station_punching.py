"""Frames punched from the browser by Web Serial, with what the page of a punching offers."""

import hashlib

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from server.web.render import environment, static_url
from tests.browser.new_tapes import stirred_dice
from tests.browser.serial_ports import heard, with_machine

FRAMES = stirred_dice().frames[:300]


def _punch_page(page: Page, frames: bytes = FRAMES, sha256: str = ""):
    """A page that holds what the page of a punching offers, with our own script and policy."""
    station = {
        "frames": "/punchings/1/frames",
        "sha256": sha256 or hashlib.sha256(FRAMES).hexdigest(),
        "count": len(FRAMES),
        "rate": 1000,
    }
    offered = environment().get_template("partials/station_punch.html").render(station=station)
    html = (
        "<!doctype html><html lang=en><title>Punch</title><link rel=icon href=/static/mark.svg>"
        f"<link rel=stylesheet href='{static_url('site.css')}'>"
        f"<script src='{static_url('station.js')}' defer></script><main>{offered}</main>"
    )

    def answer(route: Route) -> None:
        whole = page.request.get("/help")
        policy = whole.headers["content-security-policy"]
        route.fulfill(
            body=html, content_type="text/html", headers={"Content-Security-Policy": policy}
        )

    page.route("**/a-punching", answer)
    page.route(
        "**/punchings/1/frames",
        lambda route: route.fulfill(body=frames, content_type="application/octet-stream"),
    )
    page.goto("/a-punching")
    page.get_by_text("Punch at this computer's serial port").click()
    place = page.locator("[data-station=punch]")
    place.get_by_label("Baud").fill("19200")
    return place


def _start(place: Locator) -> None:
    place.get_by_label("The punch is loaded").check()
    place.get_by_role("button", name="Choose the port and punch").click()


def test_frames_are_punched_only_when_somebody_says_that_the_punch_is_ready(open_page, width):
    page = open_page(width)
    with_machine(page)
    place = _punch_page(page)
    start = place.get_by_role("button", name="Choose the port and punch")
    start.click()
    expect(place.get_by_role("status")).to_contain_text("Say first that the punch is ready")
    assert heard(page) == b""

    place.get_by_label("The punch is loaded").check()
    start.click()
    expect(place.get_by_role("status")).to_contain_text("Done: 300 frames")
    assert heard(page) == FRAMES


@pytest.mark.parametrize("obeyed", [True, False])
def test_a_punch_that_sends_dc3_gets_nothing_until_it_sends_dc1(open_page, width, obeyed):
    page = open_page(width)
    with_machine(page, hold=120)
    place = _punch_page(page)
    place.get_by_label("Flow control").select_option("xon-xoff" if obeyed else "none")
    place.get_by_label("Frames a second").fill("400")
    _start(place)

    if obeyed:
        expect(place).to_contain_text("the punch holds the line")
        sent = heard(page)
        assert 120 <= len(sent) < 300
        page.wait_for_timeout(300)
        assert heard(page) == sent
        # With a parity hole, as old machines send it.
        page.evaluate("window.machine.free()")
    expect(place.get_by_role("status")).to_contain_text("Done: 300 frames")
    assert heard(page) == FRAMES


def test_more_frames_a_second_than_the_line_carries_are_refused(open_page, width):
    page = open_page(width)
    with_machine(page)
    place = _punch_page(page)
    place.get_by_label("Baud").fill("110")
    place.get_by_label("Frames a second").fill("70")
    _start(place)

    expect(place.get_by_role("status")).to_contain_text("at most 10.0 frames a second")
    assert page.evaluate("window.machine.opened") is None


def test_frames_with_another_digest_never_reach_the_punch(open_page, width):
    page = open_page(width)
    with_machine(page)
    place = _punch_page(page, sha256="0" * 64)
    _start(place)

    expect(place.get_by_role("status")).to_contain_text("not that of this punching")
    assert page.evaluate("window.machine.opened") is None


def test_after_a_jam_the_punch_goes_on_where_it_is_told(open_page, width):
    page = open_page(width)
    with_machine(page)
    place = _punch_page(page)
    place.get_by_label("The punch is loaded").check()
    place.get_by_label("From frame").fill("200")
    start = place.get_by_role("button", name="Choose the port and punch")
    start.click()
    expect(place.get_by_role("status")).to_contain_text("how the pieces meet")
    place.get_by_label("Frames before it once more").fill("25")
    start.click()
    expect(place.get_by_role("status")).to_contain_text("Done: 125 frames")
    assert heard(page) == FRAMES[175:]


def test_a_punch_is_stopped_by_hand_and_the_next_frame_is_told(open_page, width):
    page = open_page(width)
    with_machine(page, hold=100)
    place = _punch_page(page)
    place.get_by_label("Flow control").select_option("xon-xoff")
    _start(place)
    expect(place).to_contain_text("the punch holds the line")
    place.get_by_role("button", name="Stop").click()

    sent = len(heard(page))
    expect(place.get_by_role("status")).to_contain_text(f"The next is frame {sent};")
    assert FRAMES.startswith(heard(page))
