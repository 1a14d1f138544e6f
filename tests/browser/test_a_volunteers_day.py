"""A volunteer's whole day: a tape comes in, is read, examined, put on its shelf and put right."""

import re
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.conftest import Open, sign_in
from tests.browser.days import follow, heading, main_of, number_in, press, undo_the_newest

TITLE = "Dice tally, from the harbour office"
BOX = "Loft cupboard, shelf 2, box 6"


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


def take_work_upon_oneself(page: Page) -> None:
    page.goto("/")
    follow(page, "All work queues")
    main_of(page).get_by_role("link", name=re.compile("^No condition report")).first.click()
    main_of(page).get_by_role("checkbox").first.check()
    press(page, "Put on my list")
    expect(page.get_by_role("status").first).to_contain_text("1 entry put on your list")


def enter_the_tape(page: Page) -> str:
    page.goto("/tapes/new")
    page.get_by_label("Title").fill(TITLE)
    page.get_by_label("Origin").fill("The drawer under the harbour office's teleprinter")
    page.get_by_label("Roll or fanfold").select_option("fanfold")
    page.get_by_label("Width in millimetres").fill("25.4")
    page.get_by_label("Length in metres").fill("9.5")
    page.get_by_label("Labels and handwriting").fill("[leader, pencil] DICE 2, mend line 70")
    press(page, "Enter the tape")
    expect(heading(page)).to_have_text(TITLE)
    expect(main_of(page)).to_contain_text("DICE 2, mend line 70")
    return number_in(page, r"/tapes/([\d.]+)$")


def upload_its_reading(page: Page, tape: str, file: Path) -> None:
    page.goto(f"/upload?tape={tape}")
    expect(page.get_by_label("Accession number")).to_have_value(tape)
    page.get_by_label("Reader", exact=True).fill("optical reader")
    page.get_by_label("Files", exact=True).set_input_files(file)
    results = page.get_by_role("list", name="What became of the files")
    expect(results).to_contain_text("described")
    expect(results).to_contain_text("the whole listing of 23 lines")

    page.goto(f"/tapes/{tape}")
    expect(main_of(page)).to_contain_text("Was it read to its end")
    expect(page.get_by_role("region", name="What it resembles")).to_contain_text("2018.5")


def examine_it(page: Page, tape: str, photo: Path) -> None:
    follow(page, "Log a condition report")
    page.get_by_label("State").select_option("fragile")
    page.get_by_label("How to handle it").select_option("do not run")
    defect = page.get_by_role("group", name="Defect 1")
    defect.get_by_label("Defect").select_option("tear")
    defect.get_by_label("Severity").select_option("severe")
    defect.get_by_label("Place").fill("0.2 m")
    page.get_by_label("Photos", exact=True).set_input_files(photo)
    page.get_by_label("What they show").fill("the tear, from the feed side")
    press(page, "Log the report")
    expect(heading(page)).to_contain_text(f"Condition of tape {tape}")
    expect(main_of(page).get_by_role("img", name="the tear, from the feed side")).to_be_visible()

    page.goto(f"/tapes/{tape}")
    expect(main_of(page)).to_contain_text("do not run")
    expect(main_of(page)).to_contain_text("tear logged at")
    expect(main_of(page)).to_contain_text("An archivist can allow one reading")


def put_it_on_its_shelf(page: Page, tape: str) -> None:
    follow(page, "Move it")
    page.get_by_label("To", exact=True).fill(BOX)
    page.get_by_label("Why").fill("its box")
    press(page, "Move it")
    page.goto(f"/tapes/{tape}")
    expect(main_of(page).get_by_role("link", name=BOX)).to_be_visible()


def survey_a_neighbour(page: Page) -> None:
    page.goto("/survey")
    page.get_by_label("Accession number").fill("2019.3")
    page.get_by_label("worn", exact=True).check()
    press(page, "Log it")
    expect(main_of(page)).to_contain_text("Logged:")


def correct_a_slip(page: Page, tape: str) -> None:
    page.goto(f"/tapes/{tape}/edit")
    page.get_by_label("Title").fill("Dice tally, from the harbour offal")
    press(page, "Save the change")
    expect(heading(page)).to_contain_text("offal")
    undo_the_newest(page, f"/tapes/{tape}", "offal")
    page.goto(f"/tapes/{tape}")
    expect(heading(page)).to_have_text(TITLE)


def test_a_tape_comes_in_and_is_read_examined_shelved_and_put_right(
    open_page: Open, width: int, uploads: dict[str, Path], tmp_path: Path
) -> None:
    photo = tmp_path / "tear.jpg"
    Image.new("RGB", (640, 480), "tan").save(photo)
    page = open_page(width)
    sign_in(page, "odile")
    take_work_upon_oneself(page)
    tape = enter_the_tape(page)
    upload_its_reading(page, tape, uploads["new"])
    examine_it(page, tape, photo)
    put_it_on_its_shelf(page, tape)
    survey_a_neighbour(page)
    correct_a_slip(page, tape)

    visitor = open_page(width)
    visitor.goto(f"/tapes/{tape}")
    expect(main_of(visitor)).to_contain_text("do not run")
    expect(main_of(visitor)).not_to_contain_text("Ione")
