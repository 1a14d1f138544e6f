"""Preparing a tape in a browser: with scripts the preview follows the choices, without them too."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from server.tape.identify import decode
from tests.browser.conftest import Open

TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def to_preparing(page: Page, number: str) -> None:
    page.goto(f"/tapes/{number}")
    page.get_by_role("link", name="Prepare a tape").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Prepare")


def download(page: Page, name: str) -> bytes:
    with page.expect_download() as taken:
        page.get_by_role("button", name=name).click()
    return Path(taken.value.path()).read_bytes()


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_choices_a_preview_and_the_file(open_page: Open, width: int, *, scripts: bool) -> None:
    page = open_page(width, scripts=scripts)
    to_preparing(page, "2019.8")
    page.get_by_label("Lettering in the leader").fill("QUAY LAMP")
    page.keyboard.press("Tab")
    page.get_by_label("Format").select_option("s-record")
    if not scripts:
        page.get_by_role("button", name="Show what it comes to").click()

    preview = page.locator("#preview")
    expect(preview).to_contain_text("Format: Motorola S-records instead of Intel hexadecimal.")
    expect(preview).to_contain_text("Lettering in the leader: QUAY LAMP.")
    assert page.evaluate(TOO_WIDE) == 0
    decoded = decode(download(page, "Download the prepared tape"))

    assert decoded.decoding.format == "s-record"
    assert decoded.lettering == "QUAY LAMP"


def test_what_the_preview_does_not_show_yet_is_not_taken(open_page: Open, width: int) -> None:
    page = open_page(width)
    to_preparing(page, "2019.8")
    taken: list[str] = []
    page.on("download", lambda file: taken.append(file.suggested_filename))
    page.get_by_label("Lettering in the leader").fill("QUAY LAMP")

    page.get_by_role("button", name="Download the prepared tape").click()

    expect(page.locator("#preview")).to_contain_text("Lettering in the leader: QUAY LAMP.")
    assert decode(download(page, "Download the prepared tape")).lettering == "QUAY LAMP"
    assert len(taken) == 1


def test_a_refusal_stands_where_the_preview_was_and_goes_when_it_is_mended(
    open_page: Open, width: int
) -> None:
    page = open_page(width, complaints_about=422)
    to_preparing(page, "2018.2")
    page.get_by_label("Most frames on a reel").fill("700")
    page.get_by_label("Format").select_option("crunched-basic")
    expect(page.get_by_role("alert")).to_contain_text("blank tape ends it")

    page.get_by_label("Format").select_option("")

    expect(page.get_by_role("button", name="Download reel 3")).to_be_visible()
    expect(page.get_by_role("alert")).to_have_count(0)


def test_an_unverified_image_is_sent_only_with_the_tick(open_page: Open, width: int) -> None:
    page = open_page(width, scripts=False)
    to_preparing(page, "2018.1")
    expect(page.locator("#preview")).to_contain_text("Nothing vouches for this image")

    page.get_by_label("I know that this image is not verified.").check()

    assert decode(download(page, "Download the prepared tape")).decoding.format == "crunched-basic"


def test_the_tick_stays_when_the_preview_changes_under_it(open_page: Open, width: int) -> None:
    page = open_page(width)
    to_preparing(page, "2018.1")
    page.get_by_label("Frames a second").fill("10")

    page.get_by_label("I know that this image is not verified.").check()

    expect(page.locator("#preview")).to_contain_text("10 a second")
    expect(page.get_by_label("I know that this image is not verified.")).to_be_checked()


def test_on_paper_the_choices_are_left_out_and_the_cautions_stay(
    open_page: Open, width: int
) -> None:
    page = open_page(width)
    to_preparing(page, "2018.2")
    page.emulate_media(media="print")

    expect(page.locator("#choices")).to_be_hidden()
    expect(page.get_by_role("button", name="Download the prepared tape")).to_be_hidden()
    expect(page.get_by_text("never brake by hand")).to_be_visible()
    expect(page.locator("#preview .strip-figure").first).to_be_visible()


def test_the_narrowest_screens_have_room_for_it(open_page: Open) -> None:
    page = open_page(320)
    to_preparing(page, "2018.2")
    page.get_by_label("Most frames on a reel").fill("700")
    page.get_by_label("Frames a second").fill("10")

    expect(page.locator("#preview")).to_contain_text("Together")
    assert page.evaluate(TOO_WIDE) == 0
