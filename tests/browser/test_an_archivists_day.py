"""An archivist's whole day: identity, words, rights, loans, what may run, and what leaves."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Open, sign_in
from tests.browser.days import follow, heading, main_of, press, undo_the_newest

NOT_FOUND = 404
GONE = 410


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


def see_how_the_library_stands(page: Page) -> None:
    page.goto("/")
    follow(page, "State of the library")
    expect(main_of(page).get_by_role("table").first).to_be_visible()
    expect(main_of(page)).to_contain_text("verified")


def settle_kin(page: Page) -> None:
    page.goto("/queues/kin-to-judge")
    expect(main_of(page)).to_contain_text("1 pair")
    main_of(page).get_by_role("link", name=re.compile("^Decide")).first.click()
    member = main_of(page).locator("li.here > .member")
    member.locator("summary").first.click()
    member.get_by_role("button", name="Belongs here").first.click()
    page.goto("/queues/kin-to-judge")
    expect(main_of(page)).to_contain_text("Well done")


def say_more_of_a_program(page: Page) -> None:
    page.goto("/programs/2/edit")
    page.get_by_label("Known faults").fill("It counts a throw of none as a two.")
    press(page, "Save the change")
    expect(main_of(page)).to_contain_text("It counts a throw of none as a two.")
    undo_the_newest(page, "/programs/2", "changed faults")
    page.goto("/programs/2")
    expect(main_of(page)).not_to_contain_text("a throw of none")


def merge_two_programs_and_think_again(page: Page) -> None:
    page.goto("/programs/1")
    follow(page, "Merge…")
    page.get_by_label("The program that stays").fill("Dice tally")
    page.get_by_label("Why the two are one").fill("the same box")
    press(page, "Merge “Number duel” into it")
    expect(heading(page)).to_have_text("Dice tally")
    page.goto("/programs/1")
    expect(heading(page)).to_have_text("Dice tally")

    undo_the_newest(page, "/programs/2", "Number duel")
    page.goto("/programs/1")
    expect(heading(page)).to_have_text("Number duel")


def keep_the_words(page: Page) -> None:
    page.goto("/vocabularies/peripheral")
    page.get_by_role("textbox", name="Word").fill("plotter, flat")
    page.get_by_label("Meaning").fill("It draws with a pen on a sheet that lies still.")
    press(page, "Add the word")
    expect(main_of(page).get_by_role("link", name="plotter, flat")).to_be_visible()


def close_a_tape(page: Page, visitor: Page) -> None:
    visitor.goto("/tapes/2019.3")
    expect(heading(visitor)).to_have_text("Sine plot")
    page.goto("/tapes/2019.3/edit")
    page.get_by_label("Rights statement").select_option(label="In copyright")
    page.get_by_label("Who may see it").select_option("restricted")
    press(page, "Save the change")
    expect(main_of(page)).to_contain_text("In copyright")
    visitor.goto("/tapes/2019.3")
    expect(heading(visitor)).not_to_have_text("Sine plot")
    visitor.goto("/search?q=sine+plot")
    expect(main_of(visitor)).not_to_contain_text("2019.3")


def approve_a_loan(page: Page) -> None:
    page.goto("/loans")
    follow(page, "Loan 3")
    press(page, "Approve the loan")
    expect(main_of(page)).to_contain_text("approved")
    page.get_by_label("How it stands now").select_option("good")
    page.get_by_label("What was seen").fill("Clean, both ends whole.")
    press(page, "It is given out")
    expect(main_of(page)).to_contain_text("Went out")


def let_a_tape_be_read_once(page: Page) -> None:
    page.goto("/tapes/2022.2")
    expect(main_of(page)).to_contain_text("do not run")
    main_of(page).get_by_text("Let it be read once all the same").click()
    page.get_by_label("Why, by whom, and with what care").fill("By hand, Odile, on a clean table.")
    press(page, "Allow one reading")
    expect(main_of(page)).to_contain_text("It may be read once until")


def let_a_tape_go(page: Page, visitor: Page) -> None:
    page.goto("/tapes/2022.1")
    follow(page, "Deaccession")
    page.get_by_label("Decided on").fill("2026-11-20")
    page.get_by_label("Decided by").fill("the club's meeting")
    page.get_by_label("Reason").fill("It belongs to the archive of the town.")
    page.get_by_label("How it leaves").select_option(index=1)
    press(page, "Take it out of the collection")
    expect(main_of(page)).to_contain_text("not in the collection any more")
    visitor.goto("/tapes/2022.1")
    expect(main_of(visitor)).to_contain_text("It belongs to the archive of the town.")
    visitor.goto("/tapes")
    expect(main_of(visitor)).not_to_contain_text("2022.1")


def test_identity_words_rights_loans_and_leave_are_settled(open_page: Open, width: int) -> None:
    page, later = (open_page(width, complaints_about=GONE) for _ in range(2))
    visitor = open_page(width, complaints_about=NOT_FOUND)
    sign_in(page, "aksel")
    see_how_the_library_stands(page)
    settle_kin(page)
    say_more_of_a_program(page)
    merge_two_programs_and_think_again(page)
    keep_the_words(page)
    close_a_tape(page, visitor)
    approve_a_loan(page)
    let_a_tape_be_read_once(page)
    let_a_tape_go(page, later)
