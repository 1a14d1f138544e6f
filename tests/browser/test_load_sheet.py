"""A load sheet as it comes out of the printer: one page, black on white, with all that it says."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray
from playwright.sync_api import Browser, Page, expect

from server.delivery.one_page import LETTER_WIDTHS
from tests.browser import site as demonstration
from tests.browser.conftest import sign_in

PAPERS = {"A4": (595, 842), "Letter": (612, 792)}
"""In points of 1/72 in: 210 by 297 mm (ISO 216), 8.5 by 11 in (ANSI/ASME Y14.1), from memory."""

SMALLEST_PT = 9
CSS_PIXELS_A_POINT = 96 / 72
"""CSS Values and Units: 1in is 96px and 72pt."""

BARE = dict.fromkeys(("needs", "steps", "bootstrap", "reader", "worked", "cautions"), "")

SENTENCE = "Set the switches as the panel's card says, and look at every lamp before you go on"

FULL = {
    "needs": "The loader of the club in the upper memory, and the jump to it in the lowest cells.",
    "steps": "\n".join(f"{SENTENCE}, {number}." for number in range(14)),
    "bootstrap": "\n".join(f"{at:X}: {at:X} 0 C3 ; jumps to {at}" for at in range(0, 30, 3)),
    "reader": "Motor reader, 300 frames a second, guard closed.",
    "worked": "The lamps go round, and the prompt comes back.",
    "cautions": "The lamp board has a supply of its own: leave its cover on.",
}

TEXTS = {
    "full": FULL,
    "wide": BARE | {"steps": "\n".join(["MWMW WWMM MMMM @@@@ " * 4] * 12)},
    "narrow": BARE | {"steps": "\n".join(["illi till fill, jilt; " * 6] * 20)},
    "unbroken": BARE | {"needs": "n" * 1200, "worked": "M" * 500},
    "many short lines": BARE | {"steps": "\n".join(["Go on"] * 28)},
    "many cells": BARE | {"bootstrap": "0:" + " FF" * 80},
    "other scripts": BARE | {"steps": "\n".join(["打孔带读取机" * 8] * 9)},
}
"""Sheets that fit, each full of something else."""

EDGES = (8, 20, 23, 29, 38)
"""Steps of a sheet: few that fit in the largest letters, up to many that fit in none."""


@pytest.fixture(scope="module")
def sheets(library: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The URL of a demonstration for these tests alone; each writes on a sheet of its own."""
    with demonstration.served(library, tmp_path_factory.mktemp("sheets")) as url:
        yield url


@pytest.fixture
def page(browser: Browser, sheets: str) -> Iterator[Page]:
    with _opened(browser, sheets) as page:
        sign_in(page)
        yield page


@contextmanager
def _opened(browser: Browser, url: str, **look: Any) -> Iterator[Page]:
    with browser.new_context(base_url=url, java_script_enabled=False, **look) as context:
        yield context.new_page()


def write(page: Page, path: str, texts: dict[str, str]) -> None:
    page.goto(f"{path}/edit")
    for name, text in texts.items():
        page.locator(f"#{name}").fill(text)
    page.get_by_role("button", name="Save the sheet").click()
    expect(page.locator(".load-sheet")).to_be_visible()


@dataclass(frozen=True)
class Printed:
    """What comes out of the printer: all text, that of the first page, and that page as pixels."""

    pages: int
    first: str
    size: tuple[float, float]
    text: str
    pixels: NDArray[np.int64]

    @classmethod
    def of(cls, page: Page, paper: str) -> "Printed":
        with pypdfium2.PdfDocument(page.pdf(format=paper, print_background=True)) as document:
            texts = [each.get_textpage().get_text_bounded() for each in document]
            return cls(
                len(document),
                texts[0],
                document[0].get_size(),
                re.sub(r"\s+", " ", " ".join(texts)),
                document[0].render(scale=1).to_numpy().astype(int)[..., :3].reshape(-1, 3),
            )


def test_every_sheet_of_the_demonstration_is_one_page(browser, site):
    with _opened(browser, site) as page:
        for program in range(1, 16):
            page.goto(f"/programs/{program}")
            links = page.get_by_role("link", name="Load sheet").all()
            for path in [link.get_attribute("href") or "" for link in links]:
                page.goto(path)
                for paper, size in PAPERS.items():
                    printed = Printed.of(page, paper)

                    assert printed.pages == 1, path
                    assert printed.size == pytest.approx(size, abs=1)


@pytest.mark.parametrize("texts", TEXTS.values(), ids=TEXTS)
def test_a_very_full_sheet_is_one_page_and_says_so_before(page, texts):
    write(page, "/programs/11/versions/18/sheet", texts)

    expect(page.get_by_role("main")).to_contain_text("Prints on one page")
    assert [Printed.of(page, paper).pages for paper in PAPERS] == [1, 1]


def test_a_sheet_shrinks_in_steps_and_then_tells_its_writer_that_it_spills(page):
    path, seen = "/programs/13/versions/21/sheet", []
    for steps in EDGES:
        write(page, path, {"steps": "\n".join([SENTENCE] * steps)})
        told = page.locator(".load-sheet").get_attribute("class") or ""
        spills = page.get_by_text("Longer than one page").is_visible()
        pages = max(Printed.of(page, paper).pages for paper in PAPERS)
        seen.append((int(told.rpartition("-")[2]), spills, pages))

    assert [size for size, *_ in seen] == sorted((size for size, *_ in seen), reverse=True)
    assert {size for size, *_ in seen} == {11, 10, 9}
    assert [pages for _, spills, pages in seen if not spills] == [1] * sum(
        not spills for _, spills, _ in seen
    )
    assert seen[-1] == (9, True, 2)
    assert f"30. {SENTENCE}" in Printed.of(page, "Letter").first


def test_the_shortest_sheet_is_one_page_in_the_largest_letters(page):
    page.goto("/tapes/2021.6")
    page.get_by_role("link", name="Load sheet").click()

    expect(page.locator(".load-sheet-11")).to_be_visible()
    assert [Printed.of(page, paper).pages for paper in PAPERS] == [1, 1]


def test_the_paper_says_what_the_sheet_says(page):
    path = "/programs/12/versions/20/sheet"
    write(page, path, FULL | {"bootstrap": "000 000: 303 000 002 ; jump to the program"})
    said = Printed.of(page, "A4").text

    for fact in (
        "Memory check, version 1", "8080 machine, 4 KB", "2019.11: Loft cupboard, shelf 3, box 7",
        "checks pass; self-checked", "002 000 to 002 044 (hex 0200 to 0224)", "24.6 s at 10",
        "624.84 mm", "000 001 000", "jump to the program", "14. Set the switches",
        "guard closed.", "The lamps go round", "supply of its own", "local codes", "conservator",
        "revision 3, Odile Fenwarp", path,
    ):  # fmt: skip
        assert fact in said
    assert "Write on it" not in said
    assert "Search" not in said


def _small_letters(page: Page) -> list[str]:
    """Texts in the printed sheet whose letters are smaller than may be."""
    found: list[str] = page.evaluate(
        """smallest => [...document.querySelectorAll("main *")].filter(each =>
            each.checkVisibility() &&
            [...each.childNodes].some(node => node.nodeType === 3 && node.data.trim()) &&
            parseFloat(getComputedStyle(each).fontSize) < smallest
        ).map(each => each.textContent)""",
        SMALLEST_PT * CSS_PIXELS_A_POINT - 0.01,
    )
    return found


def test_no_printed_letter_is_smaller_than_nine_points(browser, sheets):
    with browser.new_context(base_url=sheets) as context:
        page = context.new_page()
        sign_in(page)
        write(page, "/programs/15/versions/23/sheet", FULL)
        assert page.locator(".load-sheet-9").count() == 1
        page.emulate_media(media="print")

        assert _small_letters(page) == []


@pytest.mark.parametrize("look", [{"color_scheme": "dark"}, {"forced_colors": "active"}])
def test_it_is_black_on_white_whatever_the_screen_shows(browser, site, look):
    with _opened(browser, site, **look) as page:
        page.goto("/programs/12/versions/20/sheet")
        pixels = Printed.of(page, "A4").pixels
    grey = np.ptp(pixels, axis=1) <= 2

    assert grey.all()
    assert (pixels.min(axis=1) >= 250).mean() > 0.8
    assert pixels.min() < 60


def test_a_theme_chosen_by_hand_does_not_reach_the_paper(page):
    page.goto("/appearance")
    page.get_by_label("always dark").check()
    page.get_by_role("button", name="Remember this").click()
    page.goto("/programs/12/versions/20/sheet")
    pixels = Printed.of(page, "A4").pixels

    assert (pixels.min(axis=1) >= 250).mean() > 0.8


def test_a_volunteer_writes_a_sheet_looks_at_what_changed_and_goes_back(page):
    path = "/programs/1/versions/2/sheet"
    write(page, path, {"worked": "A bell rings.", "note": "It has a bell now"})
    expect(page.locator(".load-sheet")).to_contain_text("A bell rings.")
    page.get_by_role("link", name="History").click()
    newest = page.get_by_role("listitem").filter(has_text="Revision 4")
    expect(newest).to_contain_text("It has a bell now")
    expect(newest.locator(".is")).to_contain_text("A bell rings.")
    page.get_by_role("button", name="Go back to revision 3").click()

    expect(page.locator(".load-sheet")).not_to_contain_text("A bell rings.")
    expect(page.locator(".imprint")).to_contain_text("revision 5")


def test_two_who_write_at_once_notice_each_other(page, browser, sheets):
    path = "/programs/11/versions/19/sheet"
    page.goto(f"{path}/edit")
    with _opened(browser, sheets) as other:
        sign_in(other, "aksel")
        write(other, path, {"worked": "Aksel was first."})
    page.locator("#worked").fill("Odile was second.")
    page.get_by_role("button", name="Save the sheet").click()

    expect(page.get_by_role("alert")).to_contain_text("changed since you opened it")
    expect(page.locator("#worked")).to_have_value("Odile was second.")


@pytest.mark.parametrize("name", ["sheet", "sheet/history"])
def test_no_page_of_a_sheet_is_wider_than_the_narrowest_screen(browser, site, name):
    narrow = {"width": 320, "height": 900}
    with browser.new_context(base_url=site, viewport=narrow) as context:
        page = context.new_page()
        page.goto(f"/programs/12/versions/20/{name}")
        too_wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"

        assert page.evaluate(too_wide) == 0


def test_letters_are_as_wide_as_the_sheet_was_measured_with(browser, site):
    """Outside check: the faces that the browser has in place of those that the sheet asks for."""
    with browser.new_context(base_url=site) as context:
        page = context.new_page()
        page.goto("/programs/12/versions/20/sheet")
        page.emulate_media(media="print")
        widths = page.evaluate(
            """letters => {
                const pen = document.createElement("canvas").getContext("2d");
                const face = getComputedStyle(document.querySelector(".load-sheet")).fontFamily;
                pen.font = `1000px ${face}`;
                return letters.map(each => pen.measureText(each).width / 1000);
            }""",
            list(LETTER_WIDTHS),
        )

    assert dict(zip(LETTER_WIDTHS, widths, strict=True)) == pytest.approx(
        dict(LETTER_WIDTHS), abs=0.02
    )
