"""A volunteer surveys the shelves with a telephone, also where there is no line."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.browser.conftest import LONGEST_WAIT_MS, sign_in

PHONE = 390
CAMERA = """
  window.BarcodeDetector = class {
    async detect() { return [{ rawValue: "https://club.example/tapes/2019.3" }]; }
  };
  const drawn = document.createElement("canvas");
  const pen = drawn.getContext("2d");
  let step = 0;
  setInterval(() => pen.fillRect(step++ % 99, 0, 9, 9), 40);
  navigator.mediaDevices.getUserMedia = async () => drawn.captureStream();
"""
"""A camera before which somebody holds a label, and a browser that can read it."""


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


@pytest.fixture
def phone(browser: Browser, site: str) -> Iterator[BrowserContext]:
    context = browser.new_context(base_url=site, viewport={"width": PHONE, "height": 800})
    context.set_default_timeout(LONGEST_WAIT_MS)
    yield context
    context.close()


def surveying(phone: BrowserContext) -> Page:
    page = phone.new_page()
    sign_in(page)
    page.goto("/survey")
    expect(page.get_by_text("This page works without a line")).to_be_visible()
    return page


def mark(page: Page, number: str, *marks: str) -> None:
    page.get_by_label("Accession number").fill(number)
    for each in marks:
        page.get_by_label(each, exact=True).check()
    page.get_by_role("button", name="Log it").click()


def reports_on(page: Page, number: str) -> list[dict[str, Any]]:
    return list(page.request.get(f"/api/v1/condition-reports?tape={number}").json()["items"])


def test_what_is_logged_without_a_line_waits_and_is_sent_later(phone):
    page = surveying(phone)
    phone.set_offline(True)
    mark(page, "2019.3", "worn", "crease")
    waiting = page.get_by_role("region", name="Not yet sent")
    expect(waiting).to_contain_text("1 report is not yet sent.")
    expect(waiting).to_contain_text("cannot be reached")

    page.goto("/survey")
    expect(waiting).to_contain_text("2019.3, worn")
    mark(page, "2019.4", "good")
    expect(waiting).to_contain_text("2 reports are not yet sent.")
    assert page.evaluate("document.querySelector('#survey [name=csrf]')") is None

    phone.set_offline(False)  # that there is a line again is enough: nobody has to press anything
    expect(waiting).to_be_hidden()
    expect(page.get_by_text("Logged:")).to_be_visible()
    (report,) = reports_on(page, "2019.3")
    assert [each["kind"] for each in report["defects"]] == ["crease"]
    assert len(reports_on(page, "2019.4")) == 1


def test_an_answer_that_is_lost_makes_no_second_report(phone):
    page = surveying(phone)

    def lose(route: Route) -> None:
        if route.request.method == "POST":
            route.fetch()
            route.abort()
        else:
            route.continue_()

    page.route("**/survey", lose)
    mark(page, "2019.3", "worn")
    expect(page.get_by_text("1 report is not yet sent.")).to_be_visible()
    expect(page.get_by_role("region", name="Not yet sent")).to_contain_text("cannot be reached")
    page.unroute("**/survey")
    page.get_by_role("button", name="Send now").click()

    expect(page.get_by_role("region", name="Not yet sent")).to_be_hidden()
    assert len(reports_on(page, "2019.3")) == 1


def test_a_report_that_is_refused_stays_and_says_why(phone):
    page = surveying(phone)
    mark(page, "1901.1", "good")
    waiting = page.get_by_role("region", name="Not yet sent")
    expect(waiting).to_contain_text("There is no tape 1901.1")
    page.on("dialog", lambda dialog: dialog.accept())
    waiting.get_by_role("button", name="Throw the report on 1901.1 away").click()

    expect(waiting).to_be_hidden()


def test_a_label_is_scanned_and_the_tape_is_named(phone):
    phone.add_init_script(CAMERA)
    page = surveying(phone)
    page.get_by_role("button", name="Scan the label").click()

    expect(page.get_by_label("Accession number")).to_have_value("2019.3")
    expect(page.locator("#tape-told")).to_contain_text("Sine plot")


def test_without_scripts_the_survey_is_a_plain_form(open_page):
    page = open_page(PHONE, scripts=False)
    sign_in(page)
    page.goto("/survey")
    mark(page, "2019.3", "fragile", "tear")

    expect(page.get_by_text("Logged:")).to_be_visible()
