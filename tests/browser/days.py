"""What a day's walk does again and again on a page."""

import re

from playwright.sync_api import Locator, Page, expect


def main_of(page: Page) -> Locator:
    """What the page is about, without its head and foot."""
    return page.get_by_role("main")


def press(page: Page, name: str) -> None:
    """Press the button of that name."""
    main_of(page).get_by_role("button", name=name).click()


def follow(page: Page, name: str) -> None:
    """Follow the link of that name."""
    main_of(page).get_by_role("link", name=name).click()


def heading(page: Page) -> Locator:
    """What the page says it is."""
    return page.get_by_role("heading", level=1)


def number_in(page: Page, pattern: str) -> str:
    """A part of the address of the page."""
    found = re.search(pattern, page.url)
    assert found, page.url
    return found[1]


def undo_the_newest(page: Page, record: str, done: str) -> None:
    """Take the newest entry of that kind back, in the history of the record."""
    page.goto(f"{record}/history")
    entry = main_of(page).get_by_role("listitem").filter(has_text=done).first
    entry.get_by_text("Undo this").click()
    button = entry.get_by_role("button", name=re.compile("^Undo entry"))
    undone = button.inner_text().removeprefix("Undo ")
    button.click()
    expect(main_of(page)).to_contain_text(f"undoes {undone}")
