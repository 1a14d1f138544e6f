"""A visitor browses the library, opens a tape, and reads all that is known about it."""

import re

from playwright.sync_api import expect

from tests.browser.conftest import narrow_to_damaged


def test_a_visitor_goes_from_the_first_page_to_a_tape_and_reads_it(open_page, width):
    page = open_page(width)
    page.goto("/")
    page.get_by_role("navigation", name="Sections").get_by_role("link", name="Tapes").click()
    expect(page.get_by_role("heading", level=1, name="Tapes")).to_be_visible()
    page.get_by_role("link", name="Number duel, first save").click()

    main = page.get_by_role("main")
    expect(page.get_by_role("heading", level=1)).to_have_text("Number duel, first save")
    expect(main.get_by_role("region", name="First lines of the listing")).to_contain_text(
        "10 REM NUMBER DUEL"
    )
    expect(main.get_by_role("region", name="To load it")).to_contain_text("language interpreter")
    trust = main.get_by_role("region", name="Can it be trusted?")
    expect(trust).to_contain_text("carries no check")
    expect(trust).to_contain_text("unverified")
    expect(main.get_by_role("region", name="What it resembles")).to_contain_text(
        "Number duel, second save"
    )


def test_two_saves_are_compared_line_by_line(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2018.2")
    page.get_by_role("link", name="Compare with Number duel, first save").click()

    added = page.get_by_role("row").filter(has_text=re.compile(r"removed|added"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Two images compared")
    expect(added).to_have_count(1)
    expect(added).to_contain_text('65 INPUT "GIVE ME ANY NUMBER";S:X=RND(-1-ABS(S))')


def test_two_readings_are_compared_with_strips_from_difference_to_difference(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2018.6")
    page.get_by_role("link", name="Compare it with the reading before").click()
    frames = page.get_by_role("region", name="Frames compared")
    first, second = frames.get_by_role("listitem").all()
    expect(first.locator("svg")).to_have_count(2)
    page.wait_for_load_state()  # a page that is still loading may scroll back
    first.get_by_role("link", name="Next difference, 2 of 2").press("Enter")

    expect(page).to_have_url(re.compile(r"#f255-255$"))
    expect(second).to_be_in_viewport()
    expect(second).to_contain_text("29 channels 1 4 6")
    expect(second).to_contain_text("28 channels 4 6")


def test_memory_is_compared_and_its_listings_merged_into_one(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2019.9")
    page.get_by_role("link", name="Compare with Lamp pattern, worn copy").click()
    page.get_by_label("Besides hexadecimal, numbers in").select_option("octal")
    page.get_by_role("button", name="Show").click()
    row = page.get_by_role("region", name="Addresses that differ").get_by_role("row").last
    expect(row).to_contain_text("0113")
    expect(row).to_contain_text("000423")
    page.get_by_role("link", name="Merged into one").click()

    expect(page).to_have_url(re.compile("notation=octal.*view=merged"))
    merged = page.get_by_role("region", name="The two listings, merged")
    expect(merged.locator("del").first).to_have_text("00")
    expect(merged.locator("ins").first).to_have_text("01")


def test_the_list_is_narrowed_to_damaged_tapes(open_page, width):
    page = open_page(width)
    page.goto("/tapes")
    narrow_to_damaged(page)

    expect(page.get_by_role("main")).to_contain_text(re.compile(r"\b6 tapes"))
    expect(page).to_have_url(re.compile("check_status=damaged"))
    expect(page.get_by_role("link", name="Tide table, torn")).to_be_visible()
    expect(page.get_by_role("link", name="Sine plot")).to_have_count(0)


def test_a_finding_is_placed_along_the_tape(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2019.10")

    findings = page.get_by_role("region", name="Findings")
    expect(findings).to_contain_text("checksum mismatch")
    expect(findings).to_contain_text(re.compile(r"frame 105\b"))
    expect(findings).to_contain_text(re.compile(r"266\.7\d? mm"))
    expect(findings).to_contain_text("10.5 in")


def test_a_tape_with_suspected_mould_says_so_before_all_else(open_page, width):
    page = open_page(width)
    page.goto("/tapes/2021.9")

    caution = page.get_by_role("note").filter(has_text="Do not handle")
    expect(caution).to_be_visible()
    expect(caution).to_contain_text("conservator")
    expect(page.get_by_role("main")).to_contain_text("in quarantine")


def test_a_program_tells_its_versions(open_page, width):
    page = open_page(width)
    page.goto("/programs")
    page.get_by_role("link", name="Tide table", exact=True).click()

    main = page.get_by_role("main")
    expect(page.get_by_role("heading", level=1)).to_have_text("Tide table")
    for note in ("One wave, the moon's.", "Made from version 1", "Made from version 2"):
        expect(main).to_contain_text(note)
