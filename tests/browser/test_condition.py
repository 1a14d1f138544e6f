"""A volunteer logs a condition report on a physical tape."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import sign_in


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


def test_a_report_is_logged_and_the_tape_shows_it(open_page, width):
    page = open_page(width)
    sign_in(page)
    page.goto("/tapes/2019.3")
    page.get_by_role("link", name="Log a condition report").click()
    page.get_by_label("State").select_option("worn")
    page.get_by_label("A reader can take it").select_option("yes")
    first = page.get_by_role("group", name="Defect 1")
    first.get_by_label("Defect").select_option("tear")
    first.get_by_label("Severity").select_option("moderate")
    first.get_by_label("Place").fill("10 in")
    first.get_by_label("Note").fill("from the feed side")
    page.get_by_label("Advice").fill("Pull by hand only.")
    page.get_by_role("main").get_by_role("button", name=re.compile("report|Log|Save")).click()

    main = page.get_by_role("main")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Condition of tape 2019.3")
    expect(main).to_contain_text("by Odile Fenwarp")
    row = main.get_by_role("row").filter(has_text="tear")
    expect(row).to_contain_text("about frame 100")
    main.get_by_role("link", name="2019.3 Sine plot").click()
    expect(page.get_by_role("region", name="Condition")).to_contain_text("tear")


def test_suspected_mould_sets_the_tape_apart_at_once(open_page, width):
    page = open_page(width)
    sign_in(page)
    page.goto("/tapes/2019.4/condition/new")
    page.get_by_label("State").select_option("unfit for a reader")
    page.get_by_label("Hazard").select_option("mould suspected")
    page.get_by_role("main").get_by_role("button", name=re.compile("report|Log|Save")).click()
    page.goto("/tapes/2019.4")

    expect(page.get_by_role("note").filter(has_text="Do not handle")).to_be_visible()


def test_a_visitor_finds_no_way_to_log_one(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2019.3")

    expect(page.get_by_role("region", name="Condition")).to_be_visible()
    expect(page.get_by_role("link", name="Log a condition report")).to_have_count(0)
