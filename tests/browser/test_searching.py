"""A visitor searches for a run of characters and lands on the line that holds it."""

import re

import pytest
from playwright.sync_api import expect


def test_a_run_in_a_listing_leads_to_its_line_with_the_run_marked(open_page, width):
    page = open_page(width)
    page.goto("/")
    seek = page.get_by_role("search", name="Whole library")
    seek.get_by_label("Search the whole library").fill("rnd(-1-abs")
    seek.get_by_role("button", name="Search").click()
    hit = page.get_by_role("listitem").filter(has_text="2018.2")
    expect(hit.get_by_role("mark")).to_have_text("RND(-1-ABS")
    hit.get_by_role("link").first.click()

    expect(page).to_have_url(re.compile(r"/listing\?.*#L7$"))
    line = page.locator("#L7")
    expect(line).to_contain_text('65 INPUT "GIVE ME ANY NUMBER"')
    expect(line.get_by_role("mark")).to_have_text("RND(-1-ABS")
    expect(line).to_be_in_viewport()


@pytest.mark.parametrize(
    ("run", "title"),
    [
        ("physics cupboard", "Net loft rota"),  # an origin
        ("smells of lamp oil", "Bulb stock"),  # a note
        ("turning twill", "Loom card, turning twill"),  # a title
    ],
)
def test_a_run_in_a_record_leads_to_the_tape(open_page, width, run, title):
    page = open_page(width)
    page.goto("/search")
    page.get_by_label("Find any run of characters").fill(run)
    page.get_by_role("main").get_by_role("button", name="Search").click()
    page.get_by_role("link", name=title, exact=True).first.click()

    expect(page.get_by_role("heading", level=1)).to_have_text(title)


def test_results_come_while_one_types(open_page, width):
    page = open_page(width)
    page.goto("/search")
    page.get_by_label("Find any run of characters").press_sequentially("tide bell", delay=20)

    expect(page.get_by_role("link", name="Letter to members, March 1979").first).to_be_visible()
    expect(page).to_have_url(re.compile("q=tide"))


def test_nothing_found_is_said_and_helped(open_page, width):
    page = open_page(width)
    page.goto("/search?q=no+such+run+of+characters")

    expect(page.get_by_role("main")).to_contain_text("Nothing holds")
