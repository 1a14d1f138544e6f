"""The same path where scripts are switched off: every page and form works all the same."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Open, narrow_to_damaged, sign_in
from tests.browser.new_tapes import IMAGES


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


@pytest.fixture
def page(open_page: Open, width: int) -> Page:
    return open_page(width, scripts=False)


def test_browsing_searching_and_comparing(page):
    page.goto("/tapes")
    narrow_to_damaged(page)
    page.get_by_role("button", name="Show these").click()
    expect(page.get_by_role("link", name="Tide table, torn")).to_be_visible()
    page.goto("/search")
    page.get_by_label("Find any run of characters").fill("RND(-1-ABS")
    page.get_by_role("main").get_by_role("button", name="Search").click()
    page.get_by_role("listitem").filter(has_text="2018.2").get_by_role("link").first.click()
    expect(page.locator("#L7").get_by_role("mark")).to_have_text("RND(-1-ABS")
    page.goto("/tapes/2018.2")
    page.get_by_role("link", name="Compare with Number duel, first save").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Two images compared")


def test_uploading_and_describing(page, uploads):
    sign_in(page)
    page.goto("/upload")
    page.get_by_label("Files", exact=True).set_input_files(list(uploads.values()))
    page.get_by_role("button", name="Send").click()
    results = page.get_by_role("list", name="What became of the files")
    expect(results).to_contain_text("one line added")
    expect(results).to_contain_text("We already hold this")
    results.get_by_label("Title").fill("Dice tally, stirred")
    results.get_by_role("button", name="Enter the tape").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Dice tally, stirred")


def test_logging_condition(page):
    sign_in(page)
    page.goto("/tapes/2019.3/condition/new")
    page.get_by_label("State").select_option("worn")
    page.get_by_role("main").get_by_role("button", name=re.compile("report|Log|Save")).click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("Condition of tape 2019.3")


def test_downloading(page):
    page.goto("/tapes/2018.7")
    page.get_by_role("link", name="Unverified image").click()
    page.get_by_role("checkbox").check()
    with page.expect_download() as started:
        page.get_by_role("button", name="Download it all the same").click()

    assert Path(started.value.path()).read_bytes() == (IMAGES / "2018-07.bin").read_bytes()


def test_light_or_dark_is_chosen_on_a_page_of_its_own(page):
    page.goto("/")
    page.get_by_role("link", name="Light or dark").click()
    page.get_by_role("radio", name="always dark").check()
    page.get_by_role("button", name="Remember this").click()

    assert page.locator("html").get_attribute("data-theme") == "dark"
