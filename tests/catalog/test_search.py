"""Searching the library; the same questions to both databases."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.catalog.errors import Invalid
from server.catalog.search import (
    COUNTED,
    LINES_SHOWN,
    Hit,
    SearchPage,
    SearchQuery,
    find,
)
from server.catalog.work import VISITOR, Work, unit_of_work
from server.store.tables import Verification, Version
from tests.store.rows import (
    NOW,
    add_image,
    add_program,
    add_reading,
    add_tape,
    decoding_of,
)

GLASS = '10 REM GLASS MAZE\n20 PRINT "TURN LEFT"\n30 GOTO 20\n'
BEADS = '10 REM GLASS BEADS\n20 INPUT "HOW MANY"; N\n30 PRINT N*2\n'
LOOSE = ":10010000214601360121470136007EFE09D2190140\n"


@pytest.fixture
def work(engine: Engine) -> Iterator[Work]:
    """A small library: two tapes with images, one without, a loose image, two programs."""
    with unit_of_work(engine, VISITOR) as work:
        fill(work.session)
        yield work


def fill(session: Session) -> None:
    maze = add_program(session, "Glass Maze", description="Find the way out of a house of glass.")
    add_program(session, "Abacus", description="Sums by beads.")
    first = add_tape(
        session, "2026.1", "Maze", program_id=maze, medium="paper", condition="good", place="A1"
    )
    second = add_tape(
        session, "2026.2", "Bead sums", origin="Glassworks school", medium="polyester", place="B2"
    )
    add_tape(session, "1999.7", "Unread roll", notes="Smells of oil.\nBox says GLASS.")
    glass = add_image(session, GLASS, language="basic", check_status="sound")
    beads = add_image(session, BEADS, language="basic", check_status="damaged")
    loose = add_image(session, LOOSE, format="intel-hex", loader="ROM monitor")
    add_reading(session, glass, first)
    add_reading(session, beads, second)
    add_reading(session, loose, None)
    session.add(Version(program_id=maze, image_id=loose, label="loader", created_at=NOW))
    session.add(
        Verification(image_id=glass, kind="proof-read", evidence="Read aloud.", made_at=NOW)
    )
    session.flush()


def ask(work: Work, q: str, **limits: object) -> SearchPage:
    return find(work, SearchQuery.of({"q": q} | limits))


def names(page: SearchPage) -> list[tuple[str, str, str]]:
    return [(hit.kind, hit.field, hit.title) for hit in page.hits]


def everywhere(work: Work, q: str, **limits: object) -> list[Hit]:
    """All hits, page by page."""
    hits: list[Hit] = []
    page = ask(work, q, **limits)
    hits += page.hits
    while page.next_cursor:
        page = ask(work, q, **limits, cursor=page.next_cursor)
        hits += page.hits
    return hits


def test_records_come_before_listings_and_the_telling_field_first(work: Work):
    page = ask(work, "glass")

    assert names(page) == [
        ("program", "title", "Glass Maze"),
        ("tape", "origin", "Bead sums"),
        ("tape", "notes", "Unread roll"),
        ("listing", "listing", "Bead sums"),
        ("listing", "listing", "Maze"),
    ]
    assert page.total == 5
    assert page.total_is_exact
    assert page.next_cursor is None
    assert not page.newest_only


def test_listing_hit_names_image_tape_and_line_and_marks_the_match(work: Work):
    (hit,) = ask(work, "turn l").hits

    assert hit.sha256 is not None
    assert len(hit.sha256) == 64
    assert hit.accession == "2026.1"
    assert hit.line == 2
    assert hit.lines_found == 1
    assert hit.excerpt == (('20 PRINT "', False), ("TURN L", True), ('EFT"', False))


def test_record_hit_names_the_tape_and_shows_the_field(work: Work):
    (hit,) = ask(work, "box says").hits

    assert hit.accession == "1999.7"
    assert hit.line is None
    assert hit.excerpt == (
        ("Smells of oil. ", False),
        ("Box says", True),
        (" GLASS.", False),
    )


def test_tape_is_found_by_its_accession_number(work: Work):
    assert names(ask(work, "1999.7")) == [("tape", "accession_number", "Unread roll")]


def test_program_is_found_by_its_description(work: Work):
    (hit,) = ask(work, "house of").hits

    assert (hit.kind, hit.field, hit.title) == ("program", "description", "Glass Maze")
    assert hit.program is not None


def test_run_is_found_across_words_and_signs(work: Work):
    assert [hit.line for hit in ask(work, 'y"; n').hits] == [2]


def test_run_that_two_lines_make_together_is_not_found(work: Work):
    assert ask(work, "MAZE20").total == 0


def test_signs_are_taken_literally(work: Work):
    add_image(work.session, "10 REM 50% OF G_ASS\n")

    assert {q: ask(work, q).total for q in ("%", "50%", "g_a", "gl*ss", '"t', "glass or")} == {
        "%": 1,
        "50%": 1,
        "g_a": 1,
        "gl*ss": 0,
        '"t': 1,
        "glass or": 0,
    }


def test_spaces_at_the_ends_of_the_run_count(work: Work):
    assert ask(work, "n*").total == 1
    assert ask(work, "n* ").total == 0
    assert ask(work, " n*").total == 1


def test_nothing_asked_finds_nothing(work: Work):
    for q in ("", "   "):
        assert ask(work, q) == SearchPage((), 0, total_is_exact=True, next_cursor=None)


def test_short_run_is_found_and_said_to_be_looked_for_in_the_newest_only(work: Work):
    page = ask(work, "*2")

    assert [hit.line for hit in page.hits] == [3]
    assert page.newest_only


def test_only_the_first_lines_of_a_listing_are_hits_and_all_are_counted(work: Work):
    add_image(work.session, "10 REM ECHO\n" * 9)

    page = ask(work, "echo")

    assert [hit.line for hit in page.hits] == [1, 2, 3][:LINES_SHOWN]
    assert {hit.lines_found for hit in page.hits} == {9}
    assert page.total == 1


def test_superseded_decoding_is_not_shown(work: Work):
    image_id = add_image(work.session, "10 REM OLD ECHO\n", superseded=True)
    work.session.add(decoding_of(image_id, "5 END\n10 REM ECHO\n", decoder_release="2"))
    work.session.flush()

    assert [hit.line for hit in ask(work, "echo").hits] == [2]


FILTERS: list[tuple[dict[str, object], set[str]]] = [
    ({"kind": "tape"}, {"Bead sums", "Unread roll"}),
    (
        {"kind": ["program", "listing"]},
        {"program Glass Maze", "listing Bead sums", "listing Maze"},
    ),
    ({"format": "text", "kind": "listing"}, {"listing Bead sums", "listing Maze"}),
    ({"check_status": "damaged"}, {"Bead sums", "listing Bead sums"}),
    (
        {"check_status": ["damaged", "sound"], "kind": "listing"},
        {"listing Bead sums", "listing Maze"},
    ),
    ({"verification": "proof-read"}, {"program Glass Maze", "listing Maze"}),
    ({"verification": "unverified", "kind": "listing"}, {"listing Bead sums"}),
    ({"medium": "polyester"}, {"Bead sums", "listing Bead sums"}),
    ({"condition": "good"}, {"program Glass Maze", "listing Maze"}),
    ({"place": ["A1", "B2"], "kind": "listing"}, {"listing Bead sums", "listing Maze"}),
    ({"format": "intel-hex"}, {"program Glass Maze"}),
    ({"loader": "ROM monitor", "medium": "paper"}, set()),
    ({"language": "basic", "medium": "paper"}, {"program Glass Maze", "listing Maze"}),
    ({"format": "no such thing"}, set()),
]


def test_filters_admit_what_they_say(work: Work):
    def admitted(limits: dict[str, object]) -> set[str]:
        hits = ask(work, "glass", **limits).hits
        return {hit.title if hit.kind == "tape" else f"{hit.kind} {hit.title}" for hit in hits}

    assert [(limits, admitted(limits)) for limits, _ in FILTERS] == FILTERS


def test_program_filter_admits_its_tapes_its_images_and_itself(work: Work):
    (program,) = (hit.program for hit in ask(work, "glass maze", kind="program").hits)

    found = names(ask(work, "maze", program=program))

    assert found == [
        ("tape", "title", "Maze"),
        ("program", "title", "Glass Maze"),
        ("listing", "listing", "Maze"),
    ]
    assert ask(work, ":1001", program=program).total == 1
    assert ask(work, "beads", program=program).total == 0


def test_pages_together_are_the_whole_whatever_their_size(work: Work):
    whole = ask(work, "glass").hits

    for limit in range(1, len(whole) + 1):
        assert tuple(everywhere(work, "glass", limit=limit)) == whole


def test_pages_stay_in_step_while_others_add_to_the_library(work: Work):
    before = ask(work, "glass").hits
    first = ask(work, "glass", limit=4)

    add_image(work.session, "10 REM GLASS, NEWER\n")
    add_tape(work.session, "2026.3", "Glass at the front")
    rest = ask(work, "glass", cursor=first.next_cursor)

    assert first.hits + rest.hits == before


def test_cursor_that_was_not_given_is_refused(work: Work):
    for cursor in ("x", "!!!", "MS4y", "\u2603", "a" * 150, "MS4xLmZmZmZmZmZm", "Li4u", "0"):
        with pytest.raises(Invalid) as refusal:
            ask(work, "glass", cursor=cursor)

        assert "cursor" in refusal.value.fields


def test_cursor_of_another_search_is_refused(work: Work):
    cursor = ask(work, "glass", limit=1).next_cursor

    with pytest.raises(Invalid):
        ask(work, "glas", cursor=cursor)
    with pytest.raises(Invalid):
        ask(work, "glass", kind="tape", cursor=cursor)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("kind", "shelf"),
        ("limit", 0),
        ("limit", 101),
        ("colour", "red"),
        ("q", "two\nlines"),
        ("q", "nul\0"),
        ("q", "x" * 201),
    ],
)
def test_question_that_makes_no_sense_is_refused_by_field(field: str, value: object):
    with pytest.raises(Invalid) as refusal:
        SearchQuery.of({"q": "glass", field: value})

    assert [name.split(".")[0] for name in refusal.value.fields] == [field]


def test_count_ends_where_it_is_no_longer_worth_counting(sqlite_engine: Engine):
    with unit_of_work(sqlite_engine, VISITOR) as work:
        for number in range(COUNTED + 5):
            add_image(work.session, f"10 REM COMMON {number}\n")

        page = ask(work, "common")

    assert page.total == COUNTED
    assert not page.total_is_exact
    assert len(page.hits) == 20


def test_that_very_title_comes_before_titles_that_hold_it(work: Work):
    add_tape(work.session, "2026.8", "A mazed look")
    add_tape(work.session, "2026.9", "Maze of glass")

    found = [hit.title for hit in ask(work, "maze", kind="tape").hits]

    assert found == ["Maze", "Maze of glass", "A mazed look"]


@pytest.mark.parametrize("q", ["20261", "2026-1", "2026 / 1", "Glass-maze", "GLASSMAZE", "assmaz"])
def test_spaces_and_signs_do_not_matter_in_numbers_and_titles(work: Work, q: str):
    assert ask(work, q).hits[0].title in ("Maze", "Glass Maze")


def test_listings_that_hold_a_word_come_before_those_that_hold_it_in_another(work: Work):
    add_image(work.session, "10 REM OLD ECHO\n")
    add_image(work.session, "10 REM ECHOES\n")

    assert ["OLD ECHO" in str(hit.excerpt) or hit.excerpt[0][0] for hit in ask(work, "echo").hits]
    first, second = ask(work, "echo").hits
    assert "".join(text for text, _ in first.excerpt) == "10 REM OLD ECHO"
    assert "".join(text for text, _ in second.excerpt) == "10 REM ECHOES"


def test_image_is_found_by_the_first_digits_of_its_name(work: Work):
    (listing,) = ask(work, "turn left").hits
    assert listing.sha256 is not None

    (hit,) = ask(work, listing.sha256[:9]).hits

    assert (hit.field, hit.sha256, hit.line) == ("sha256", listing.sha256, None)
    assert ask(work, listing.sha256[:9], kind="tape").hits == ()


def test_lines_around_a_hit_are_told(work: Work):
    (hit,) = ask(work, "turn left").hits

    assert (hit.before, hit.after) == ("10 REM GLASS MAZE", "30 GOTO 20")


def test_status_of_what_was_found_is_told(work: Work):
    (hit,) = ask(work, "turn left").hits

    assert (hit.check_status, hit.verification) == ("sound", "proof-read")


def test_ranked_listings_and_older_ones_are_all_told_once(work: Work):
    texts = [f"10 REM {'COMMON' if number % 3 else 'COMMONS'} {number}\n" for number in range(90)]
    for text in texts:
        add_image(work.session, text)

    hits = everywhere(work, "common", limit=7)
    told = ["".join(text for text, _ in hit.excerpt) + "\n" for hit in hits]

    assert sorted(told) == sorted(texts)
    assert told[0] == texts[89 if 89 % 3 else 88]
