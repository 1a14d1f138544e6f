"""A demonstrator's whole day: from one worn tape to a proven copy, with a load sheet for it.

Two people work in browsers and at a station whose machines stand behind ptys. What was punched
at first is known (`worn_tape`), and what the day comes to is held against it.
"""

import hashlib
import re
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import Page, expect

from server.tape.identify import decode
from tests.browser.a_station import Station
from tests.browser.conftest import Open, sign_in
from tests.browser.days import follow, heading, main_of, number_in, press
from tests.browser.test_punching import pages_of, read_code
from tests.browser.worn_tape import CONTENT, RIGHT, TITLE, passes

READERS = ("optical reader", "mechanical reader", "hand-pulled reader")
LETTERING = "BELL BUOY"
TRAILER = 240
"""Blanks enough for the station to take them for the end of the tape."""


@pytest.fixture
def site(own_site: str) -> str:
    return own_site


def describe_the_tape(page: Page) -> str:
    page.goto("/tapes/new")
    page.get_by_label("Title").fill(TITLE)
    page.get_by_label("Origin").fill("A drawer of the boat house")
    press(page, "Enter the tape")
    expect(heading(page)).to_have_text(TITLE)
    expect(main_of(page)).to_contain_text("No reading of this tape is held yet")
    return number_in(page, r"/tapes/([\d.]+)$")


def make_a_token(page: Page) -> str:
    page.goto("/account")
    page.get_by_label("What it is for").fill("the station")
    page.get_by_role("checkbox", name=re.compile("^punch")).check()
    press(page, "Make a token")
    return page.get_by_role("status").locator("code").inner_text()


def read_three_times(station: Station, tape: str) -> None:
    for number, (frames, reader) in enumerate(zip(passes(), READERS, strict=True), 1):
        assert CONTENT not in frames
        name = f"pass-{number}.bin"
        said = station.read(name, frames, "--tape", tape, "--reader", reader)

        kept = (station.folder / name).read_bytes()
        assert frames.startswith(kept)
        assert kept.strip(b"\0") == frames.strip(b"\0")
        assert f"sent, a new image, {hashlib.sha256(kept).hexdigest()}" in said


def merge(page: Page, tape: str) -> None:
    page.goto(f"/tapes/{tape}")
    follow(page, "Merge readings")
    chosen = main_of(page).get_by_role("checkbox")
    expect(chosen).to_have_count(3)
    assert all(each.is_checked() for each in chosen.all())
    press(page, "See what they come to")

    expect(main_of(page)).to_contain_text("readings do not agree by the rule")
    expect(main_of(page)).to_contain_text("16 disputed frames")
    expect(main_of(page)).to_contain_text("end for end")
    press(page, "Keep this merged reading")
    expect(heading(page)).to_contain_text("Merged reading")
    expect(main_of(page)).to_contain_text("unverified")
    expect(main_of(page).get_by_role("link", name="Settle by eye")).to_have_count(0)


def image_of(page: Page) -> bytes:
    """The merged image, as the archive gives it to anybody."""
    shown = main_of(page).get_by_role("link", name=re.compile("^[0-9a-f]{8,}")).first
    address = shown.get_attribute("href")
    answer = page.request.get(f"/api/v1{address}/frames")
    assert answer.ok
    return answer.body()


def settle(page: Page) -> None:
    follow(page, "Settle the first open frame")
    strips = main_of(page).get_by_role("region", name=re.compile("^Reading .* around"))
    expect(strips).to_have_count(3)
    expect(strips.locator("svg")).to_have_count(3)
    # On the tape itself one sees what no reader saw.
    main_of(page).get_by_label("Other holes:").check()
    for channel in range(1, 9):
        hole = main_of(page).get_by_role("checkbox", name=str(channel), exact=True)
        hole.set_checked(bool(RIGHT >> (channel - 1) & 1))
    page.get_by_label("What you saw").fill("under the glass the holes are plain, one is torn")
    press(page, "Settle it under my name")

    expect(main_of(page)).to_contain_text("under the glass")
    expect(main_of(page)).to_contain_text("no eye makes readings agree")
    expect(main_of(page).get_by_role("link", name="Settle the first open frame")).to_have_count(0)


def vouch_for_it(page: Page) -> None:
    follow(page, "Vouch for it: proof-read")
    page.get_by_label("How you made sure").fill("read line by line against the club's print-out")
    press(page, "I vouch for this image")
    expect(main_of(page)).to_contain_text("proof-read")


def make_a_version(page: Page) -> str:
    follow(page, "Make it a version of a program")
    page.get_by_label("Title of the new program").fill(TITLE)
    page.get_by_label("Its language").select_option("BASIC")
    page.get_by_label("Its machine class").select_option("8080 machine")
    page.get_by_label(re.compile("^Label")).fill("1")
    press(page, "Make it a version")
    expect(heading(page)).to_have_text(TITLE)
    return number_in(page, r"/programs/(\d+)$")


def prepare(page: Page, program: str) -> str:
    page.goto(f"/programs/{program}")
    follow(page, "Prepare a tape")
    page.get_by_label("Lettering in the leader").fill(LETTERING)
    page.get_by_label("Leader, in frames").fill("80")
    page.get_by_label("Trailer, in frames").fill(str(TRAILER))
    page.keyboard.press("Tab")
    preview = page.locator("#preview")
    expect(preview).to_contain_text(f"Lettering in the leader: {LETTERING}")
    expect(preview).to_contain_text(f"Trailer: {TRAILER} frames")
    expect(preview).not_to_contain_text("Nothing vouches for this image")
    press(page, "Begin a punching")
    expect(heading(page)).to_contain_text("Punching")
    return number_in(page, r"/punchings/(\d+)$")


def punch(page: Page, station: Station, punching: str) -> bytes:
    shown = main_of(page).locator("code", has_text="server punch").inner_text()
    frames, said = station.punch(shown.split()[-1])

    assert f"{len(frames):,} of {len(frames):,} frames have gone out" in said
    expect(main_of(page)).to_contain_text(hashlib.sha256(frames).hexdigest())
    page.get_by_label("Punch", exact=True).fill("the tall one")
    press(page, "It is punched")
    expect(main_of(page)).to_contain_text("Next: read it back")
    return frames


def read_back(page: Page, station: Station, punching: str, tape: bytes) -> str:
    shown = main_of(page).locator("code", has_text="server read").inner_text()
    assert f"--read-back {punching} --archive {station.archive}" in shown
    # It is laid in somewhere in its leader.
    said = station.read("back.bin", tape[20:], "--read-back", punching, "--reader", READERS[0])

    told = re.search(r"now 'read back: same', tape ([\d.]+)", said)
    assert told, said
    page.reload()
    expect(main_of(page)).to_contain_text("Read back: the same")
    expect(main_of(page)).to_contain_text(f"{len(tape) - 20:,} frames were compared")
    expect(main_of(page).get_by_role("link", name=told[1]).first).to_be_visible()
    return told[1]


def look_at_the_copy(page: Page, copy: str, punching: str) -> None:
    page.goto(f"/tapes/{copy}")
    expect(main_of(page)).to_contain_text("read back")
    expect(main_of(page)).to_contain_text(f"as punching {punching}")
    expect(main_of(page).get_by_role("link", name=TITLE).first).to_be_visible()


def print_the_label(page: Page, url: str, copy: str, punching: str) -> None:
    page.goto(f"/punchings/{punching}")
    follow(page, "Label to print")
    assert read_code(page) == f"{url}/tapes/{copy}"
    assert pages_of(page.pdf(prefer_css_page_size=True)) == [(90, 40)]


def write_the_sheet(page: Page, punching: str) -> None:
    page.goto(f"/punchings/{punching}")
    follow(page, "Load sheet")
    follow(page, "Write on it")
    page.get_by_label(re.compile("^When it worked|^What should appear|worked")).fill(
        "It asks for the height of the swell."
    )
    press(page, "Save the sheet")
    expect(main_of(page)).to_contain_text("It asks for the height of the swell.")


def printed(page: Page, folder: Path) -> str:
    """What one page of A4 says."""
    file = folder / "sheet.pdf"
    page.pdf(path=file, format="A4", print_background=True)
    assert pages_of(file.read_bytes()) == [(210, 297)]
    with pypdfium2.PdfDocument(file) as document:
        text = document[0].get_textpage().get_text_bounded()
    return re.sub(r"\s+", " ", text)


def test_from_three_bad_readings_to_a_proven_tape_and_its_load_sheet(
    open_page: Open, width: int, site: str, tmp_path: Path
) -> None:
    demonstrator, archivist = open_page(width), open_page(width)
    sign_in(demonstrator, "odile")
    sign_in(archivist, "aksel")
    tape = describe_the_tape(demonstrator)
    station = Station(tmp_path, site, make_a_token(demonstrator))
    read_three_times(station, tape)
    merge(demonstrator, tape)
    assert image_of(demonstrator).strip(b"\0") != CONTENT

    archivist.goto(demonstrator.url)
    settle(archivist)
    assert image_of(archivist).strip(b"\0") == CONTENT
    vouch_for_it(archivist)
    program = make_a_version(archivist)

    punching = prepare(demonstrator, program)
    punched = punch(demonstrator, station, punching)
    assert punched[:-TRAILER].endswith(CONTENT)
    assert punched.endswith(bytes(TRAILER))
    assert decode(punched).lettering == LETTERING
    copy = read_back(demonstrator, station, punching, punched)
    look_at_the_copy(demonstrator, copy, punching)
    print_the_label(demonstrator, site, copy, punching)
    write_the_sheet(demonstrator, punching)
    said = printed(demonstrator, tmp_path)
    at = punched.index(CONTENT)
    for fact in (
        TITLE, f"{copy}: place not known; not examined; punched here and read back",
        f"On tape {copy} it begins at frame {at}, ", f"behind the letters “{LETTERING}”",
        "asks for the height of the swell", "Odile Fenwarp", "conservator",
    ):  # fmt: skip
        assert fact in said, fact
