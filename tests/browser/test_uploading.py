"""A volunteer signs in, uploads images, sees what they resemble, and describes the tape."""

import re

import pytest
from playwright.sync_api import Page, Route, expect

from server.catalog.published import PASSWORD
from tests.browser.conftest import sign_in
from tests.browser.new_tapes import ADDED_LINE


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


def _result(page: Page, file_name: str):
    results = page.get_by_role("list", name="What became of the files")
    return results.get_by_role("listitem").filter(
        has=page.get_by_role("heading", name=re.compile(re.escape(file_name)))
    )


def test_each_of_two_files_has_a_progress_bar_while_it_is_sent(open_page, width, uploads):
    page = open_page(width)
    sign_in(page)
    page.goto("/upload")
    held_back: list[Route] = []

    def hold_back(route: Route) -> None:
        held_back.append(route)

    page.route("**/upload", hold_back)
    page.get_by_label("Files", exact=True).set_input_files(list(uploads.values()))

    for path in uploads.values():
        bar = page.get_by_role("progressbar", name=f"Progress of {path.name}")
        expect(bar).to_be_visible()
    expect(page.get_by_role("list", name="Files being sent").get_by_role("listitem")).to_have_count(
        2
    )
    for route in held_back:
        route.continue_()
    for path in uploads.values():
        expect(_result(page, path.name).first).to_be_visible()


def test_a_program_saved_again_resembles_the_held_one_with_one_line_added(
    open_page, width, uploads
):
    page = open_page(width)
    sign_in(page)
    page.goto("/upload")
    page.get_by_label("Files", exact=True).set_input_files(uploads["new"])

    result = _result(page, uploads["new"].name).first
    kin = result.get_by_role("listitem").filter(has_text="2018.5")
    expect(result).to_contain_text("stored")
    expect(result).to_contain_text("Crunched BASIC")
    expect(kin).to_contain_text(re.compile(r"This resembles Dice tally 2018\.5, 9\d(\.\d)? %"))
    expect(kin).to_contain_text("one line added")
    kin.get_by_role("link", name="Compare line by line with Dice tally").click()
    added = page.get_by_role("row").filter(has_text=re.compile(r"added|removed|changed"))
    added = added.filter(has_not=page.get_by_role("columnheader"))
    expect(added).to_have_count(1)
    expect(added).to_contain_text(ADDED_LINE)
    expect(added).to_contain_text("added")


def test_a_file_that_is_held_already_is_said_to_be(open_page, width, uploads):
    page = open_page(width)
    sign_in(page)
    page.goto("/upload")
    page.get_by_label("Files", exact=True).set_input_files(uploads["held"])

    result = _result(page, uploads["held"].name).first
    expect(result).to_contain_text("We already hold this")
    expect(result.get_by_role("link", name="2018.8", exact=True)).to_be_visible()


def test_the_form_proposes_from_the_decoding_and_enters_the_tape(open_page, width, uploads):
    page = open_page(width)
    sign_in(page)
    page.goto("/upload")
    page.get_by_label("Files", exact=True).set_input_files(uploads["new"])
    result = _result(page, uploads["new"].name).first

    expect(result.get_by_label("Title")).to_have_value("DICE TALLY")
    expect(result.get_by_label("Levels")).to_have_value("8")
    expect(result.get_by_label("Loader requirement")).to_have_value(re.compile("BASIC interpreter"))
    result.get_by_label("Title").fill("Dice tally, stirred")
    result.get_by_label("Origin").fill("Found behind the stove")
    result.get_by_label("Medium").select_option("oiled paper")
    result.get_by_label("Condition").select_option("worn")
    result.get_by_role("button", name="Enter the tape").click()
    result = _result(page, uploads["new"].name).or_(page.get_by_text("Described as tape"))
    page.get_by_role("link", name=re.compile("Dice tally, stirred")).first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Dice tally, stirred")
    tape = page.get_by_role("region", name="The tape", exact=True)
    expect(tape).to_contain_text("Found behind the stove")
    expect(tape).to_contain_text("oiled paper")
    expect(tape).to_contain_text("BASIC interpreter")


def test_a_file_that_is_no_tape_is_answered_in_words(open_page, width, tmp_path):
    empty = tmp_path / "empty.bin"
    empty.write_bytes(b"")
    page = open_page(width, complaints_about=422)
    sign_in(page)
    page.goto("/upload")
    page.get_by_label("Files", exact=True).set_input_files(empty)

    sent = page.get_by_role("list", name="Files being sent")
    expect(sent).to_contain_text("rejected")
    expect(sent).to_contain_text("The file is empty")


def test_a_visitor_is_asked_to_sign_in_first_and_comes_back(open_page, width):
    page = open_page(width)
    page.goto("/upload")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    main = page.get_by_role("main")
    main.get_by_label("Name").fill("ione")
    main.get_by_label("Password").fill(PASSWORD)
    main.get_by_role("button", name="Sign in").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Upload")
    expect(page.get_by_label("Files", exact=True)).to_be_visible()


def test_a_wrong_password_is_refused_without_saying_which_part_is_wrong(open_page, width):
    page = open_page(width, complaints_about=401)
    page.goto("/sign-in")
    main = page.get_by_role("main")
    main.get_by_label("Name").fill("ione")
    main.get_by_label("Password").fill("not the password at all")
    main.get_by_role("button", name="Sign in").click()

    expect(page.get_by_role("alert")).to_contain_text("do not belong together")
