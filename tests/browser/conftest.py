"""Debian's chromium on the demonstration. Every test here fails where chromium is missing."""

import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, expect, sync_playwright

from server.catalog.published import PASSWORD
from tests.browser import site as demonstration
from tests.browser.new_tapes import IMAGES, stirred_dice

WIDTHS = {"telephone": 390, "desk": 1280}
HEIGHT = 900
SWITCHES = (
    # Root may run chromium only without its sandbox; the pages are our own.
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip

LONGEST_WAIT_MS = 15_000
"""A machine busy with other tests is slow; a page that needs longer is broken."""

expect.set_options(timeout=LONGEST_WAIT_MS)

GIVEN_UP = re.compile("htmx:(afterRequest|sendAbort)")
"""Logged as an error when a newer search takes the place of one that is still under way."""

Open = Callable[..., Page]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demonstration") / "library.db"
    demonstration.load(path)
    return path


@pytest.fixture(scope="session")
def site(library: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The URL of the demonstration as it is when just loaded, for tests that only read."""
    with demonstration.served(library, tmp_path_factory.mktemp("shared")) as url:
        yield url


@pytest.fixture(scope="session")
def changing(library: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """The URL and the folder of a demonstration that tests change, one after the other."""
    folder = tmp_path_factory.mktemp("changing")
    with demonstration.served(library, folder) as url:
        yield url, folder


@pytest.fixture
def own_site(library: Path, changing: tuple[str, Path]) -> str:
    """The URL of a demonstration as it is when just loaded, which a test may change."""
    url, folder = changing
    demonstration.restore(library, folder)
    return url


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The browser, for one module: while it is open, no other test could run an event loop."""
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.fail("chromium is not installed: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(SWITCHES))
        yield browser
        browser.close()


@pytest.fixture
def uploads(tmp_path: Path) -> dict[str, Path]:
    """Files as they come from a reader: one new, one that the demonstration holds."""
    new = tmp_path / "dice-stirred.bin"
    new.write_bytes(stirred_dice().frames)
    return {"new": new, "held": IMAGES / "2018-08.bin"}


def sign_in(page: Page, name: str = "odile") -> None:
    page.goto("/sign-in")
    main = page.get_by_role("main")
    main.get_by_label("Name").fill(name)
    main.get_by_label("Password").fill(PASSWORD)
    main.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def narrow_to_damaged(page: Page) -> None:
    """Tick 'damaged' among the choices, which a telephone has folded away."""
    damaged = page.get_by_role("checkbox", name=re.compile("^damaged"))
    if not damaged.is_visible():
        page.get_by_text("Narrow the list").click()
    damaged.check()


@pytest.fixture(params=WIDTHS)
def width(request: pytest.FixtureRequest) -> int:
    return WIDTHS[request.param]


@pytest.fixture
def open_page(browser: Browser, site: str) -> Iterator[Open]:
    """Opens pages of the site; afterwards none of them may have complained about anything.

    `complaints_about` is the one status of 400 or above that the test means to meet.
    """
    complaints: list[str] = []
    with ExitStack() as contexts:

        def open_page(width: int, *, scripts: bool = True, complaints_about: int = 0) -> Page:
            context = browser.new_context(
                base_url=site,
                viewport={"width": width, "height": HEIGHT},
                java_script_enabled=scripts,
                accept_downloads=True,
            )
            context.set_default_timeout(LONGEST_WAIT_MS)
            contexts.callback(context.close)
            page = context.new_page()
            page.on("console", lambda message: _note(complaints, message, complaints_about))
            page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
            page.on("requestfailed", lambda request: _note_loss(complaints, request))
            return page

        yield open_page
    assert complaints == []


def _note(complaints: list[str], message: ConsoleMessage, expected: int) -> None:
    """Keep errors and warnings, a breach of the content security policy among them.

    The browser complains about each answer of 400 and above; that one is `expected` is no error.
    """
    if f"status of {expected} " in message.text or GIVEN_UP.match(message.text):
        return
    if message.type in ("error", "warning"):
        complaints.append(f"{message.type}: {message.text} ({message.location.get('url')})")


def _note_loss(complaints: list[str], request: Request) -> None:
    """Keep requests that failed, but for those that the page gave up: downloads, old searches."""
    if request.failure != "net::ERR_ABORTED":
        complaints.append(f"lost: {request.url} ({request.failure})")
