"""Makes the README's pictures from the demonstration: `python -m tests.browser.pictures`."""

import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser import site
from tests.browser.conftest import SWITCHES, WIDTHS, sign_in
from tests.browser.new_tapes import stirred_dice

PICTURES = site.ROOT / "static" / "readme"
HEIGHT = 720
NAME = "dice-stirred.bin"


def take(browser: Browser, url: str) -> None:
    """Write every picture."""
    desk = _page(browser, url, WIDTHS["desk"])
    desk.goto("/tapes/2018.2")
    _shoot(desk, "tape")
    desk.get_by_role("link", name="Compare with Number duel, first save").click()
    desk.get_by_role("link", name="First", exact=True).click()
    _shoot(desk, "comparison")
    desk.goto("/search?q=RND(-1")
    _shoot(desk, "search")
    telephone = _page(browser, url, WIDTHS["telephone"])
    sign_in(telephone)
    telephone.goto("/upload")
    telephone.get_by_label("Files", exact=True).set_input_files(
        {"name": NAME, "mimeType": "application/octet-stream", "buffer": stirred_dice().frames}
    )
    telephone.get_by_role("heading", name=NAME).wait_for()
    _shoot(telephone, "upload")


def _page(browser: Browser, url: str, width: int) -> Page:
    # Where a link leads within a page, the page must not still be on its way there.
    return browser.new_page(
        base_url=url, viewport={"width": width, "height": HEIGHT}, reduced_motion="reduce"
    )


def _shoot(page: Page, name: str) -> None:
    page.screenshot(path=PICTURES / f"{name}.png", animations="disabled")


def main() -> None:
    """Load the demonstration, serve it, and take the pictures."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        site.load(folder / "library.db")
        (folder / "served").mkdir()
        with site.served(folder / "library.db", folder / "served") as url:
            chromium = playwright.chromium
            browser = chromium.launch(executable_path="/usr/bin/chromium", args=list(SWITCHES))
            take(browser, url)
            browser.close()


if __name__ == "__main__":
    main()
