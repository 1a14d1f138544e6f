"""A copy is made: prepared, punched, read back otherwise, read back right, labelled and printed."""

import base64
import re

import numpy as np
import zxingcpp
from playwright.sync_api import FilePayload, Page, expect

from tests.browser.conftest import Open, sign_in

MM = 72 / 25.4
"""Points in a millimetre."""

GREYS = """async (png) => {
  const blob = await (await fetch("data:image/png;base64," + png)).blob();
  const bitmap = await createImageBitmap(blob);
  const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
  const context = canvas.getContext("2d");
  context.drawImage(bitmap, 0, 0);
  const data = context.getImageData(0, 0, bitmap.width, bitmap.height).data;
  return [bitmap.width, bitmap.height, Array.from(data).filter((_, at) => at % 4 === 1)];
}"""


def read_code(page: Page) -> str:
    """What an independent reader sees in the code as the browser shows it."""
    shown = base64.b64encode(page.locator("svg.qr").first.screenshot()).decode()
    with page.context.new_page() as blank:
        width, height, greys = blank.evaluate(GREYS, shown)
    pixels = np.array(greys, np.uint8).reshape(height, width)
    (found,) = zxingcpp.read_barcodes(pixels)
    return found.text


def pages_of(pdf: bytes) -> list[tuple[int, int]]:
    """Width and height of each page, in millimetres."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([0-9.]+) ([0-9.]+)\s*\]", pdf)
    return [(round(float(across) / MM), round(float(down) / MM)) for across, down in boxes]


def take_frames(page: Page) -> bytes:
    with page.expect_download() as download:
        page.get_by_role("link", name="Frames for the punch").click()
    return download.value.path().read_bytes()


def send(page: Page, frames: bytes) -> None:
    file: FilePayload = {
        "name": "back.bin",
        "mimeType": "application/octet-stream",
        "buffer": frames,
    }
    page.get_by_label("Frames as read").set_input_files(file)
    page.get_by_role("button", name="Compare it").click()


def test_a_copy_is_punched_read_back_and_labelled(browser, own_site, width):
    with browser.new_context(base_url=own_site, viewport={"width": width, "height": 900}) as made:
        page = made.new_page()
        sign_in(page)
        page.goto("/tapes/2018.11")
        page.get_by_role("link", name="Prepare").first.click()
        page.get_by_role("button", name="Begin a punching").click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("Punching 3")
        frames = take_frames(page)
        page.get_by_label("Punch", exact=True).fill("the tall one")
        page.get_by_role("button", name="It is punched").click()

        send(page, frames[:500] + frames[501:])
        main = page.get_by_role("main")
        expect(main).to_contain_text("Nothing was accessioned")
        expect(main).to_contain_text("1 frame missing")
        expect(page.locator(".differing svg.picture")).to_have_count(2)

        send(page, bytes(40) + frames[12:])
        expect(main).to_contain_text("Read back: the same")
        page.get_by_role("link", name="Label to print").click()
        number = page.locator(".label-number").inner_text()

        assert read_code(page) == f"{own_site}/tapes/{number}"
        assert pages_of(page.pdf(prefer_css_page_size=True)) == [(90, 40)]


def test_a_sheet_of_twelve_labels_is_one_page_of_either_paper(open_page: Open):
    page = open_page(1280)
    page.goto("/labels?tape=2018.1&copies=12")

    for paper in ("A4", "Letter"):
        assert len(pages_of(page.pdf(format=paper))) == 1, paper
    page.goto("/labels?tape=2018.1&tape=2018.2&copies=12")
    assert len(pages_of(page.pdf(format="A4"))) == 2
    assert page.locator("article.label").count() == 24


def test_no_page_of_punching_is_wider_than_the_narrowest_screen(browser, site):
    with browser.new_context(base_url=site, viewport={"width": 320, "height": 900}) as made:
        page = made.new_page()
        sign_in(page)
        for address in ("/punchings", "/punchings/1", "/punchings/2", "/tapes/2018.1/label"):
            page.goto(address)
            wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
            assert page.evaluate(wide) == 0, address
