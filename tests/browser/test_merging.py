"""Three poor readings are merged, and what they leave open is settled by eye."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import sign_in
from tests.readings import PUNCHED, doubled, dropped, flipped

TAPE = "2019.3"
RIGHT = f"{PUNCHED[300]:02X}"


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


@pytest.fixture
def passes(tmp_path: Path) -> list[Path]:
    """Readings that part in frame 300, each in two holes of its own but the second."""
    readings = (
        dropped(flipped(flipped(PUNCHED, 300, channel=1), 300, channel=2), 500),
        doubled(PUNCHED, 260)[::-1],
        flipped(flipped(PUNCHED, 300, channel=3), 300, channel=5)[30:],
    )
    paths = [tmp_path / f"pass-{number}.bin" for number in range(3)]
    for path, data in zip(paths, readings, strict=True):
        path.write_bytes(data)
    return paths


def upload(page: Page, passes: list[Path]) -> None:
    page.goto(f"/upload?tape={TAPE}")
    page.get_by_label("Files", exact=True).set_input_files(passes)
    for path in passes:
        expect(page.get_by_role("heading", name=re.compile(path.name)).first).to_be_visible()


def test_three_passes_are_merged_seen_kept_and_settled(open_page, width, passes):
    page = open_page(width)
    sign_in(page, "aksel")
    upload(page, passes)
    page.goto(f"/tapes/{TAPE}")
    page.get_by_role("link", name="Merge readings").click()
    main = page.get_by_role("main")
    # The tape was read before, and what lies on it there is another program.
    main.get_by_role("checkbox").first.uncheck()
    main.get_by_role("button", name="See what they come to").click()
    expect(main).to_contain_text("readings do not agree by the rule")
    expect(main).to_contain_text("end for end")
    main.get_by_role("button", name="Keep this merged reading").click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("Merged reading 2")
    main.get_by_role("link", name="Settle the first open frame").click()
    expect(main.get_by_role("region", name=re.compile("^Reading .* around"))).to_have_count(3)
    main.get_by_role("radio", name=re.compile(rf" {RIGHT} ")).check()
    main.get_by_label("What you saw").fill("the second strip is clear")
    main.get_by_role("button", name="Settle it under my name").click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("Merged reading 3")
    expect(main).to_contain_text("the second strip is clear")
    expect(main).to_contain_text("no eye makes readings agree")
    main.get_by_role("link", name="merged reading 2").click()
    expect(main).to_contain_text("A frame was settled since")
    page.goto(f"/tapes/{TAPE}")
    expect(page.get_by_role("region", name="Merged readings")).to_contain_text("follows 2")


def test_the_pages_of_a_merge_fit_the_screen_and_work_without_scripts(open_page, width):
    page = open_page(width, scripts=False)
    sign_in(page, "aksel")
    for path in ("/merged-readings/1", "/merge?tape=2022.3", "/help/merging"):
        page.goto(path)
        inner = page.evaluate("document.documentElement.scrollWidth")
        assert inner <= width, path
    page.goto("/merged-readings/1")
    page.get_by_role("link", name=re.compile("Look, or settle by eye")).first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Settle")
    page.get_by_role("main").get_by_role("radio", name="No frame here").check()
    page.get_by_label("What you saw").fill("a fold")
    page.get_by_role("button", name="Settle it under my name").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Merged reading 2")
