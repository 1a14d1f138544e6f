"""Everybody reaches everything: by keyboard alone, and on the narrowest screens."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import sign_in

NARROW = 320
"""CSS pixels: what a page of 1280 is at a zoom of 400 % (WCAG 2.2, success criterion 1.4.10)."""

OPEN_PAGES = [
    "/", "/tapes", "/tapes/2018.2", "/tapes/2018.6", "/tapes/2021.6", "/tapes/2021.9", "/programs",
    "/programs/1", "/condition-reports", "/condition-reports/1", "/search?q=PRINT",
    "/search?q=no+such+run", "/sign-in", "/upload", "/help", "/help/load-sheets", "/help/cautions",
    "/programs/12/versions/20/sheet", "/programs/1/versions/2/sheet/history", "/help/words",
    "/help/formats", "/help/api", "/appearance", "/no-such-page",
]  # fmt: skip
PAGES_OF_PEOPLE = [
    "/upload", "/tapes/new", "/tapes/2018.2/edit", "/tapes/2018.2/condition/new", "/programs/new",
    "/programs/1/edit", "/programs/1/versions/2/sheet/edit", "/account", "/people",
    "/places", "/places/1", "/places/2/list", "/movements", "/loans", "/loans/1", "/requests/1",
    "/shelf-checks/1", "/shelf-checks/2", "/tapes/2018.1/loans", "/tapes/2018.1/move",
]  # fmt: skip

TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def _stays_within(page: Page, address: str) -> None:
    answer = page.goto(address)
    assert answer is not None
    assert answer.status < 500, address
    assert page.evaluate(TOO_WIDE) == 0, address


@pytest.fixture
def quiet_page(browser, site):
    """A page whose console is not watched: some of the pages asked for do not exist."""
    with browser.new_context(base_url=site, viewport={"width": NARROW, "height": 900}) as context:
        yield context.new_page()


def test_no_page_is_wider_than_the_narrowest_screen(quiet_page):
    for address in OPEN_PAGES:
        _stays_within(quiet_page, address)


def test_no_page_of_people_is_wider_than_the_narrowest_screen(quiet_page):
    sign_in(quiet_page, "maud")
    for address in PAGES_OF_PEOPLE:
        _stays_within(quiet_page, address)


def test_listing_and_comparison_are_no_wider_than_the_narrowest_screen(quiet_page):
    for tape, name, view in (
        ("2018.2", "Whole listing", ""),
        ("2018.2", "Compare with Number duel, first save", ""),
        ("2018.2", "Compare with Number duel, first save", "?view=merged&lines=all"),
        ("2019.9", "Compare with Lamp pattern, worn copy", "?notation=split-octal"),
        ("2018.6", "Compare it with the reading before", ""),
    ):
        quiet_page.goto(f"/tapes/{tape}")
        address = quiet_page.get_by_role("link", name=name).first.get_attribute("href")
        assert address is not None
        _stays_within(quiet_page, f"{address}{view}")


def _focused(page: Page) -> str:
    name: str = page.evaluate(
        "(document.activeElement.labels?.[0] ?? document.activeElement).textContent.trim()"
    )
    return name


def _tab_to(page: Page, wanted: str, most: int = 60) -> None:
    met = []
    for _ in range(most):
        page.keyboard.press("Tab")
        met.append(_focused(page))
        if re.search(wanted, met[-1]):
            return
    raise AssertionError(f"{wanted} was not reached by keyboard; met: {met}")


def test_the_first_stop_of_the_keyboard_skips_to_the_content(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2018.2")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")

    expect(page.get_by_role("main")).to_be_focused()


def test_search_is_reached_and_used_by_keyboard(open_page, width):
    page = open_page(width)
    page.goto("/programs")
    page.keyboard.press("/")
    expect(page.get_by_label("Search the whole library")).to_be_focused()
    page.keyboard.type("RND(-1-ABS")
    page.keyboard.press("Enter")
    expect(page.get_by_role("mark").first).to_be_visible()
    _tab_to(page, "Number duel")
    page.keyboard.press("Enter")

    expect(page).to_have_url(re.compile("/listing"))


@pytest.mark.parametrize(
    ("address", "action"),
    [
        ("/tapes/2018.2", "Download to punch"),
        ("/tapes/2018.2", "Whole listing"),
        ("/tapes/2018.2", "Compare"),
        ("/tapes/2018.2", "Log a condition report"),
        ("/upload", "Files"),
    ],
)
def test_the_main_actions_are_reached_by_keyboard(open_page, width, address, action):
    page = open_page(width)
    sign_in(page)
    page.goto(address)
    _tab_to(page, action)

    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline != "none"
