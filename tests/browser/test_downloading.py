"""A demonstrator takes an image to punch: a verified one at once, another after a warning."""

from pathlib import Path

from playwright.sync_api import expect

from tests.browser.new_tapes import IMAGES


def test_a_verified_image_arrives_byte_for_byte(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2018.2")
    with page.expect_download() as started:
        page.get_by_role("link", name="Download to punch").click()

    path = Path(started.value.path())
    assert path.read_bytes() == (IMAGES / "2018-02.bin").read_bytes()
    assert started.value.suggested_filename.startswith("2018.2")


def test_an_unverified_image_comes_only_after_the_warning_is_confirmed(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2018.7")
    expect(page.get_by_role("link", name="Download to punch")).to_have_count(0)
    page.get_by_role("link", name="Unverified image").click()

    expect(page.get_by_role("note")).to_contain_text("Nothing vouches for this image")
    page.get_by_role("checkbox", name="I know that this image is not verified").check()
    with page.expect_download() as started:
        page.get_by_role("button", name="Download it all the same").click()
    assert Path(started.value.path()).read_bytes() == (IMAGES / "2018-07.bin").read_bytes()


def test_the_warning_cannot_be_passed_unread(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2018.7")
    page.get_by_role("link", name="Unverified image").click()
    page.get_by_role("button", name="Download it all the same").click()

    expect(page.get_by_role("checkbox")).not_to_be_checked()
    expect(page.get_by_role("note")).to_contain_text("Nothing vouches for this image")
