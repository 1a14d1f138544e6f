"""At the shelf with a telephone, and at the desk: what is missing, lent, and handed out."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import WIDTHS, sign_in


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


def fits(page: Page) -> bool:
    """Whether nothing is wider than the screen."""
    beyond = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    return bool(page.evaluate(beyond) == 0)


def test_a_volunteer_looks_through_a_shelf_with_a_telephone(open_page):
    page = open_page(WIDTHS["telephone"])
    sign_in(page)
    main = page.get_by_role("main")
    page.get_by_role("link", name="Places").click()
    main.get_by_role("link", name="shelf 2").first.click()
    assert fits(page)
    main.get_by_role("button", name="Go on with the check").click()
    expect(main).to_contain_text("2 of 10 found")
    ticks = main.get_by_role("checkbox", name=re.compile("^201"))
    for number in range(ticks.count() - 1):
        ticks.nth(number).check()
    main.get_by_label("Accession numbers").fill("2018.1")
    main.get_by_role("button", name="Note what is found").click()
    expect(main).to_contain_text("9 of 10 found")
    expect(main).to_contain_text("not expected here")
    assert fits(page)
    main.get_by_label("Note for the report").fill("The lid of box 6 is cracked.")
    main.get_by_role("button", name="Close the check").click()
    expect(main).to_contain_text("2 differences")
    expect(main.get_by_role("heading", name="Not found: 1 tape")).to_be_visible()
    main.get_by_role("region", name="Not found").get_by_role("link").first.click()
    expect(main).to_contain_text("missing")


def test_an_archivist_sees_to_what_is_overdue_and_to_what_is_asked_for(open_page):
    page = open_page(WIDTHS["desk"])
    sign_in(page, "aksel")
    main = page.get_by_role("main")
    page.goto("/")
    main.get_by_role("link", name="2021.6 Loom card").click()
    expect(main).to_contain_text("overdue by 15 days")
    main.get_by_label("How it stands now").select_option("good")
    main.get_by_label("What was seen").fill("As it went.")
    main.get_by_role("button", name="It is back").click()
    expect(main).to_contain_text("Came back")

    page.goto("/queues/overdue-loans")
    expect(main).to_contain_text("Well done")
    page.goto("/queues/requested")
    main.get_by_role("link", name=re.compile(r"^Settle it.*2021\.3")).click()
    main.get_by_label("Where it is shown").fill("Punch table")
    main.get_by_role("button", name="It is handed out").click()
    expect(main).to_contain_text("handed out")
    page.goto("/tapes/2021.3")
    expect(main.get_by_role("link", name="Punch table")).to_be_visible()
