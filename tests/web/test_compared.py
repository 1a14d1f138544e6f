"""Two images compared, as a page: every difference is a link, and leads to the next one."""

import re
from random import Random

import pytest

from server.catalog.work import Role
from server.tape.image import Image, Orientation
from tests import factories
from tests.bench.programs import program, renumbered_throughout
from tests.catalog.test_byte_by_byte import DATA, bin12
from tests.catalog.test_kinship import s_record
from tests.tape.test_relocation import code
from tests.web.library import KITES


@pytest.fixture
def visitor(client_of):
    return client_of(Role.VISITOR)


@pytest.fixture
def work(app):
    with factories.acting(app.state.engine) as work:
        yield work


def compared(visitor, work, a, b, query="", **others):
    names = [factories.upload(work, each, **others).image.sha256 for each in (a, b)]
    work.session.commit()
    return shown(visitor, f"/images/{names[0]}/compare/{names[1]}{query}"), names


def shown(visitor, path):
    page = visitor.get(path)
    assert page.status_code == 200
    ids = re.findall(r'\bid="([^"]+)"', page.text)
    assert len(ids) == len(set(ids))
    inner = {each for each in re.findall(r'href="#([^"]+)"', page.text) if each != "main"}
    assert inner <= set(ids)
    return page.text


def in_part(page, name):
    start = page.index(f'<h2 id="{name}"')
    return page[start : page.index("</section>", start)]


def followed(visitor, path, page, word):
    """The anchors of the differences that `word` leads to, one after another, across pages."""
    link = r'<a href="([^"#]*)#([^"]+)">(?:(?!</a>).)*?' + word + r", ([\d,]+) of"
    steps: dict[str, tuple[str, str]] = {}
    while True:
        found = {number: (part, anchor) for part, anchor, number in re.findall(link, page)}
        fresh = {number: each for number, each in found.items() if number not in steps}
        steps |= fresh
        elsewhere = [part for part, _ in fresh.values() if part]
        if not elsewhere:
            return [steps[number][1] for number in sorted(steps, key=int)]
        page = shown(visitor, elsewhere[0].replace("&amp;", "&"))


def test_each_line_that_differs_leads_to_itself_and_to_both_listings(visitor, library):
    page = shown(visitor, f"/images/{library.kites}/compare/{library.seeded}")
    assert '<a href="#r2">' in page
    assert f'<a href="/images/{library.seeded}/listing#L2" id="r2">2</a>' in page
    assert f'<a href="/images/{library.kites}/listing#L2" id="l2">2</a>' in page
    assert "1 difference: 1 line added." in page
    assert '<a href="#r2">First</a>' in page
    assert "Memory compared" not in page
    assert "Frames compared" not in page


def test_a_program_numbered_anew_stands_beside_itself_line_by_line(visitor, work):
    base = program(Random(3), 20)
    other = renumbered_throughout(Random(4), base)
    page, _ = compared(visitor, work, factories.text_tape(*base), factories.text_tape(*other))
    assert "the same program under other line numbers" in page
    assert "Every line is the same on both sides." in page
    assert "row-added" not in page
    assert "row-changed" not in page


def test_merged_into_one_a_changed_line_stands_once_with_both_words_marked(visitor, work):
    other = [line.replace("QUARRY", "HARBOUR") for line in KITES[:6]]
    tapes = factories.text_tape(*KITES), factories.text_tape(*other)
    page, names = compared(visitor, work, *tapes, "?view=merged")
    part = in_part(page, "listings")
    assert "10 REM KITES OVER THE <del>QUARRY</del><ins>HARBOUR</ins></code>" in part
    assert "<code><del>70 END</del></code>" in part
    assert part.count("20 PRINT") == 1
    assert 'id="l1">1</a></td>' in part
    assert 'id="r1">1</a></td>' in part
    assert f'<a class="action" href="/images/{names[0]}/compare/{names[1]}#listings">' in part
    turned = f'<a href="/images/{names[1]}/compare/{names[0]}?view=merged">Change sides.</a>'
    assert turned in page
    beside = shown(visitor, f"/images/{names[0]}/compare/{names[1]}")
    assert 'compare?view=merged#listings">Merged' in beside.replace(f"/{names[1]}", "")
    assert in_part(beside, "listings").count("20 PRINT") == 2


def test_one_difference_leads_to_the_next_across_pages(visitor, work):
    lines = [f"{number} PRINT {number}" for number in range(1, 2900)]
    other = list(lines)
    other[5], other[1999], other[2000] = "6 STOP", "2000 STOP", "2001 STOP"
    other.append("2900 END")
    tapes = factories.text_tape(*lines), factories.text_tape(*other)
    page, names = compared(visitor, work, *tapes, "?lines=all")
    path = f"/images/{names[0]}/compare/{names[1]}?lines=all"
    assert "3 differences: 3 lines changed, 1 line added." in page
    assert followed(visitor, path, page, "Next difference") == ["r2000", "r2900"]
    last = shown(visitor, f"{path}&page=3")
    assert followed(visitor, path, last, "Difference before") == ["r6", "r2000"]


def test_memory_that_differs_is_told_by_address(visitor, work):
    patched = DATA[:9] + b"\0\0" + DATA[11:]
    page, names = compared(visitor, work, s_record(0x100, DATA), s_record(0x100, patched))
    part = in_part(page, "memory")
    assert '<tr id="m0109">' in part
    assert '<a href="#m0109">changed</a>' in part
    for name in names:
        assert f'<a href="/images/{name}/listing?page=1#L1"><code>0109</code></a>' in part
    assert "<code>00 00</code>" in part
    assert "1 difference: 2 addresses changed." in page
    page, _ = compared(visitor, work, s_record(0x1000, DATA), s_record(0x2000, DATA))
    assert "stands 4,096 addresses higher" in page
    assert "Every address holds the same on both sides." in page


def test_an_address_inside_moved_code_is_told_apart_from_a_patch(visitor, work):
    tapes = (
        s_record(0x100, code(0x100, "low")),
        s_record(0x300, code(0x300, "low", patch=b"\1\2\3")),
    )
    page, names = compared(visitor, work, *tapes, "?memory_page=2")
    assert "101 differences: 3 addresses changed, 100 addresses moved." in page
    assert "First of this part" in page
    assert len(re.findall(r'<tr id="m\w+">', in_part(page, "memory"))) == 1
    path = f"/images/{names[0]}/compare/{names[1]}"
    first = shown(visitor, path)
    anchors = followed(visitor, path, in_part(first, "memory"), "Next difference")
    assert len(anchors) == 100
    assert "m0100" not in anchors


def test_words_are_told_in_octal_besides(visitor, work):
    words = [0o7300 + at % 64 for at in range(300)]
    other = [*words[:70], 0o1234, *words[71:]]
    page, names = compared(visitor, work, bin12(0o200, words), bin12(0o200, other))
    part = in_part(page, "memory")
    assert '<code>00C6</code><span class="under"><code>0306</code></span>' in part
    assert '<code>29C</code><span class="under"><code>1234</code></span>' in part
    assert f"/images/{names[1]}/listing?page=1#L9" in part


def test_numbers_are_told_in_the_notation_asked_for(visitor, work):
    tapes = s_record(0x100, DATA), s_record(0x100, DATA[:9] + b"\0" + DATA[10:])
    page, names = compared(visitor, work, *tapes, "?notation=split-octal&view=merged")
    part = in_part(page, "memory")
    assert '<code>0109</code><span class="under"><code>001 011</code></span>' in part
    assert '<option value="split-octal" selected>' in part
    assert '<input type="hidden" name="view" value="merged">' in part
    wrong = visitor.get(f"/images/{names[0]}/compare/{names[1]}?notation=roman")
    assert wrong.status_code == 400


def test_two_readings_are_told_frame_by_frame_with_strips(visitor, work):
    tape = factories.tape(work).accession_number
    reel = factories.text_tape(*KITES)
    page, names = compared(visitor, work, reel, factories.damaged(reel, 90, 3), tape=tape)
    part = in_part(page, "frames")
    assert "1 difference: 1 frame changed." in page
    assert '<li id="f90-90" class="card">' in part
    for name in names:
        assert f'<a href="/images/{name}/strip?start=84">frame 90</a>' in part
    assert part.count("<svg") == 2
    assert part.count("note, differs, frame 90") == 2
    assert "channel" in part
    same, _ = compared(visitor, work, reel, bytes(30) + reel, tape=tape)
    assert "All frames between leader and trailer are the same." in same


LOST = factories.text_tape(*KITES)[:100] + factories.text_tape(*KITES)[103:]
END = len(LOST) - 100


@pytest.mark.parametrize(
    ("reading", "at", "behind", "strip"),
    [
        (LOST, 100, 100, "start=94"),
        (
            Image(LOST).turned(Orientation.REVERSED).frames,
            END,
            END - 1,
            f"start={END - 8}&amp;turned=punched",
        ),
    ],
    ids=["as punched", "from its end"],
)
def test_where_a_reading_lost_frames_the_gap_is_marked(visitor, work, reading, at, behind, strip):
    tape = factories.tape(work).accession_number
    page, names = compared(visitor, work, factories.text_tape(*KITES), reading, tape=tape)
    part = in_part(page, "frames")
    assert f'<li id="f100-{at}" class="card">' in part
    assert "3 frames removed" in part
    assert "note, only here, frame 100 to 102" in part
    assert f"note, missing before, frame {behind}:" in part
    assert "nothing here" in part
    assert f'<a href="/images/{names[1]}/strip?{strip}">' in part


def test_frames_lost_at_the_very_end_are_marked_behind_the_last(visitor, work):
    tape = factories.tape(work).accession_number
    page, names = compared(visitor, work, DATA, DATA[:-3], tape=tape)
    assert f"note, missing behind, frame {len(DATA) - 4}:" in in_part(page, "frames")
    assert "The listings are dumps of these frames" in page
    assert all(f'<a href="/images/{name}/listing">' in page for name in names)


def test_every_difference_of_a_bad_reading_is_drawn_page_by_page(visitor, work):
    tape = factories.tape(work).accession_number
    reel = factories.text_tape(*KITES)
    bad = reel
    for at in range(70, 70 + 3 * 45, 3):
        bad = factories.damaged(bad, at)
    page, names = compared(visitor, work, reel, bad, tape=tape)
    path = f"/images/{names[0]}/compare/{names[1]}"
    assert "45 differences: 45 frames changed." in page
    counts = [
        in_part(shown(visitor, f"{path}?frames_page={each}"), "frames").count("<svg")
        for each in (1, 2, 3)
    ]
    assert counts == [40, 40, 10]
    anchors = followed(visitor, path, in_part(page, "frames"), "Next difference")
    assert anchors[:2] == ["f73-73", "f76-76"]


def test_a_tape_read_twice_leads_to_the_comparison_of_its_readings(visitor, work):
    tape = factories.tape(work).accession_number
    reel = factories.text_tape(*KITES)
    _, names = compared(visitor, work, reel, factories.damaged(reel, 90, 3), tape=tape)
    factories.upload(work, factories.damaged(reel, 90, 3), tape=tape)
    work.session.commit()
    page = shown(visitor, f"/tapes/{tape}")
    link = f'<a href="/images/{names[0]}/compare/{names[1]}">Compare it with the reading before</a>'
    assert page.count(link) == 1
    assert page.count("Frame for frame the same as the reading before.") == 1


def test_readings_that_differ_too_much_are_only_said_to(visitor, work, monkeypatch):
    monkeypatch.setattr("server.catalog.byte_by_byte.MOST_CHANGES", 2)
    tape = factories.tape(work).accession_number
    page, _ = compared(
        visitor, work, factories.text_tape(*KITES), factories.text_tape("10 END"), tape=tape
    )
    assert "are not set side by side one by one" in page
    assert "too many differ" in page
