from concurrent.futures import ThreadPoolExecutor
from datetime import date
from threading import Barrier

import pytest
from sqlalchemy import Engine

from server.catalog import condition, events, programs, tapes, verification
from server.catalog.condition_values import NewReport
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, NotSignedIn
from server.catalog.events import EventType, ObjectKind
from server.catalog.program_values import ProgramChange
from server.catalog.records import VerifiedBy
from server.catalog.tape_values import NewTape, Sort, TapeChange, TapeQuery
from server.catalog.vocabulary import Condition, Hazard, Medium
from server.catalog.work import Actor, Role, Work, unit_of_work
from server.tape.findings import CheckStatus
from tests import factories


def numbers(work: Work, **query) -> list[str]:
    return [row.accession_number for row in tapes.page(work, TapeQuery.of(query)).rows]


def facet(work: Work, name: str, **query) -> dict[str, int]:
    facets = tapes.page(work, TapeQuery.of(query)).facets
    return {each.value: each.count for each in facets[name]}


def report(number: str, **others) -> NewReport:
    given = {"tape": number, "checked_on": date(2026, 1, 2), "state": Condition.WORN}
    return NewReport.model_validate(given | others)


def test_a_tape_without_a_number_is_given_the_next_of_the_year(engine):
    with factories.acting(engine) as work:
        year = work.now.year
        given = [factories.tape(work).accession_number for _ in range(11)]
        factories.tape(work, accession_number=f"{year}.40.b")
        factories.tape(work, accession_number="1999.77")
        given.append(factories.tape(work).accession_number)

    assert given == [f"{year}.{number}" for number in (*range(1, 12), 41)]


def test_a_number_is_given_once(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
        with pytest.raises(Conflict) as refused:
            factories.tape(work, accession_number="1978.4", title="Another")
        factories.tape(work, accession_number="1978.5")

        assert list(refused.value.fields) == ["accession_number"]
        assert numbers(work) == ["1978.4", "1978.5"]


def test_tapes_entered_at_once_all_get_numbers_of_their_own(engine):
    together = Barrier(4)

    def enter(_: int) -> str:
        together.wait()
        with factories.acting(engine, Role.VOLUNTEER) as work:
            return factories.tape(work).accession_number

    with ThreadPoolExecutor(4) as pool:
        given = list(pool.map(enter, range(4)))

    assert sorted(number.partition(".")[2] for number in given) == ["1", "2", "3", "4"]


def test_a_tape_is_kept_as_it_was_described(engine):
    described = {
        "title": "Tide table",
        "accession_number": "1978.12.b",
        "origin": "a harbour office",
        "medium": Medium.OILED_PAPER,
        "levels": 8,
        "condition": Condition.WORN,
        "place": "drawer 3",
        "loader_requirement": "a BASIC interpreter",
        "made": "1978~",
        "notes": "pencil on the leader:\n'do not lend'",
    }
    with factories.acting(engine) as work:
        tapes.create(work, NewTape.of(described))
    with unit_of_work(engine, writes=False) as work:
        tape = tapes.get(work, "1978.12.b")

    assert {name: getattr(tape, name) for name in described} == described
    assert (tape.revision, tape.image, tape.readings, tape.width_mm) == (1, None, (), 25.4)


def test_a_visitor_describes_nothing(sqlite_engine):
    with unit_of_work(sqlite_engine) as work:
        with pytest.raises(NotSignedIn):
            factories.tape(work)
        with pytest.raises(NotSignedIn):
            tapes.change(work, "1978.4", TapeChange())
        with pytest.raises(NotSignedIn):
            tapes.attach(work, "1978.4", "0" * 64)


def test_a_program_that_is_not_there_is_refused(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1978.4")
        with pytest.raises(Invalid) as refused:
            factories.tape(work, program=2**40)
        with pytest.raises(Invalid):
            tapes.change(work, "1978.4", TapeChange(program=7))

        assert list(refused.value.fields) == ["program"]


def test_only_what_is_given_is_changed(sqlite_engine):
    with factories.acting(sqlite_engine, Role.VOLUNTEER) as work:
        factories.tape(work, accession_number="1978.4", place="drawer 3", notes="torn")
        changed = tapes.change(work, "1978.4", TapeChange.of({"place": "", "made": "1978"}))

    assert (changed.place, changed.made, changed.notes) == ("", "1978", "torn")
    assert (changed.title, changed.revision) == ("Tide table", 2)


def test_a_change_keeps_what_was_there_before(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1978.4", place="drawer 3")
        tapes.change(work, "1978.4", TapeChange(place="drawer 4"))
        newest = events.of(work, ObjectKind.TAPE, "1978.4")[0]

    assert newest.type == EventType.MOVEMENT
    assert newest.facts["before"] == {"place": "drawer 3"}
    assert newest.facts["after"] == {"place": "drawer 4"}


def test_changing_nothing_is_no_revision(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1978.4", place="drawer 3")

        assert tapes.change(work, "1978.4", TapeChange(place="drawer 3")).revision == 1


def test_a_change_to_a_tape_that_has_changed_since_is_refused(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
        tapes.change(work, "1978.4", TapeChange(place="x"), revision=1)
    with factories.acting(engine) as work, pytest.raises(Conflict) as refused:
        tapes.change(work, "1978.4", TapeChange(place="y"), revision=1)

    assert refused.value.revision == 2


def test_of_two_changes_at_once_the_second_is_told(engine: Engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
    together = Barrier(2)

    def change(place: str) -> str:
        together.wait()
        try:
            with factories.acting(engine) as work:
                tapes.change(work, "1978.4", TapeChange(place=place), revision=1)
        except Conflict:
            return "told"
        return place

    with ThreadPoolExecutor(2) as pool:
        outcomes = list(pool.map(change, ["left", "right"]))

    assert outcomes.count("told") == 1
    with unit_of_work(engine, writes=False) as work:
        assert tapes.get(work, "1978.4").place in outcomes


def test_only_an_archivist_changes_the_identity_of_a_tape(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        one, two = factories.program(work, title="A"), factories.program(work, title="B")
        factories.tape(work, accession_number="1978.4")
    volunteer = Actor(None, "v", Role.VOLUNTEER)
    with unit_of_work(sqlite_engine, volunteer) as work:
        assert tapes.change(work, "1978.4", TapeChange(program=one.id)).program == one.id
        with pytest.raises(NotAllowed):
            tapes.change(work, "1978.4", TapeChange(program=two.id))
        with pytest.raises(NotAllowed):
            tapes.change(work, "1978.4", TapeChange(accession_number="1978.5"))
    with factories.acting(sqlite_engine) as work:
        changed = tapes.change(work, "1978.4", TapeChange(program=two.id))
        assert (changed.program, changed.program_title) == (two.id, "B")


def test_a_tape_is_renumbered_and_found_under_its_new_number(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
        factories.tape(work, accession_number="1978.6")
        tapes.change(work, "1978.4", TapeChange(accession_number="1978.5"))
    with factories.acting(engine) as work, pytest.raises(Conflict):
        tapes.change(work, "1978.5", TapeChange(accession_number="1978.6"))
    with unit_of_work(engine, writes=False) as work:
        assert numbers(work, q="978.5") == ["1978.5"]
        assert "was 1978.4 before" in events.of(work, ObjectKind.TAPE, "1978.5")[0].detail
        with pytest.raises(NotFound):
            tapes.get(work, "1978.4")


def test_the_condition_of_a_tape_with_a_report_follows_the_report(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1978.4")
        tapes.change(work, "1978.4", TapeChange(condition=Condition.GOOD))
        condition.log(work, report("1978.4"))
        with pytest.raises(Invalid) as refused:
            tapes.change(work, "1978.4", TapeChange(condition=Condition.GOOD))

        assert list(refused.value.fields) == ["condition"]
        assert tapes.get(work, "1978.4").condition == Condition.WORN


def test_an_image_is_joined_to_its_tape_once(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1978.4")
        sha256 = factories.upload(work, factories.text_tape()).image.sha256
        tapes.attach(work, "1978.4", sha256)
        tape = tapes.attach(work, "1978.4", sha256)

    assert tape.image is not None
    assert tape.image.sha256 == sha256
    assert [each.file_name for each in tape.readings] == ["reading.bin"]


def test_two_copies_may_share_one_image(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1978.4")
        factories.tape(work, accession_number="1978.5")
        sha256 = factories.upload(work, factories.text_tape(), tape="1978.4").image.sha256
        tape = tapes.attach(work, "1978.5", sha256)

    assert tape.image is not None
    assert [each.accession_number for each in tape.image.tapes] == ["1978.4", "1978.5"]


def test_the_newest_image_stands_for_the_tape(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4")
        factories.upload(work, factories.text_tape(), tape="1978.4")
        newer = factories.upload(work, factories.hex_tape(), tape="1978.4").image
        tape = tapes.get(work, "1978.4")
        row = tapes.page(work, TapeQuery()).rows[0]

    assert tape.image == newer
    assert len(tape.readings) == 2
    assert (row.sha256, row.format, row.check_status) == (
        newer.sha256,
        "intel-hex",
        CheckStatus.SOUND,
    )
    assert row.verification == VerifiedBy.SELF_CHECKED


@pytest.mark.parametrize("number", ["1978.4", "", "\x00", "é", "x" * 5000])
def test_a_tape_that_is_not_there_is_not_found(engine, number):
    with unit_of_work(engine, writes=False) as work, pytest.raises(NotFound):
        tapes.get(work, number)


@pytest.fixture
def shelf(engine: Engine) -> Engine:
    """Four tapes: text and hex, one near the other, one damaged, one never read."""
    more = (*factories.LISTING, "60 REM LONGER")
    with factories.acting(engine) as work:
        tides = factories.program(work, title="Tide table").id
        factories.tape(work, accession_number="1978.2", program=tides, medium="paper", place="A")
        factories.tape(work, accession_number="1978.10", program=tides, medium="paper", place="B")
        factories.tape(work, accession_number="1979.1", title="monitor", medium="polyester")
        factories.tape(work, accession_number="1980.1", title="Unread", origin="a flea market")
        first = factories.upload(work, factories.text_tape(), tape="1978.2").image
        factories.upload(work, factories.damaged(factories.text_tape(*more), 90), tape="1978.10")
        factories.upload(work, factories.hex_tape(), tape="1979.1")
        verification.proof_read(work, first.sha256, "read aloud against the box")
        condition.log(work, report("1979.1", hazard=Hazard.MOULD))
    return engine


def test_a_row_says_what_a_person_looks_for(shelf):
    with unit_of_work(shelf, writes=False) as work:
        page = tapes.page(work, TapeQuery())
    first, second, third, fourth = page.rows

    assert (first.program_title, first.place, first.kin) == ("Tide table", "A", 1)
    assert first.verification == VerifiedBy.PROOF_READ
    assert (second.check_status, second.verification) == (
        CheckStatus.DAMAGED,
        VerifiedBy.UNVERIFIED,
    )
    assert (third.quarantined, third.condition) == (True, Condition.WORN)
    assert (fourth.format, fourth.sha256, fourth.kin) == (None, None, 0)
    assert (page.total, page.pages) == (4, 1)


def test_accession_numbers_are_in_the_order_in_which_people_count(shelf):
    with unit_of_work(shelf, writes=False) as work:
        assert numbers(work) == ["1978.2", "1978.10", "1979.1", "1980.1"]
        assert numbers(work, sort=Sort.TITLE)[0] == "1979.1"
        assert numbers(work, sort=Sort.NEWEST) == ["1980.1", "1979.1", "1978.10", "1978.2"]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"medium": "polyester"}, ["1979.1"]),
        ({"medium": ["polyester", "paper"], "format": "text"}, ["1978.2", "1978.10"]),
        ({"format": "no-image"}, ["1980.1"]),
        ({"check_status": ["damaged", "sound"], "place": ["B", "C"]}, ["1978.10"]),
        ({"verification": "unverified"}, ["1978.10", "1980.1"]),
        ({"verification": ["proof-read", "self-checked"]}, ["1978.2", "1979.1"]),
        ({"condition": "worn"}, ["1979.1"]),
        ({"program": "1"}, ["1978.2", "1978.10"]),
        ({"q": "FLEA"}, ["1980.1"]),
        ({"q": "tide tab"}, ["1978.2", "1978.10"]),
        ({"q": "1978.1"}, ["1978.10"]),
        ({"q": "%"}, []),
        ({"q": "fo", "place": "nowhere"}, []),
    ],
)
def test_tapes_are_narrowed_down(shelf, query, found):
    with unit_of_work(shelf, writes=False) as work:
        page = tapes.page(work, TapeQuery.of(query))

    assert [row.accession_number for row in page.rows] == found
    assert page.total == len(found)


def test_a_facet_counts_within_what_was_chosen_in_the_others(shelf):
    with unit_of_work(shelf, writes=False) as work:
        assert facet(work, "medium") == {"paper": 2, "polyester": 1, "unknown": 1}
        assert facet(work, "format", medium="paper") == {"text": 2}
        assert facet(work, "medium", medium="paper") == {"paper": 2, "polyester": 1, "unknown": 1}
        assert facet(work, "verification", medium="paper", q="tide") == {
            "proof-read": 1,
            "unverified": 1,
        }


def test_a_facet_has_words_to_show_and_marks_what_was_chosen(shelf):
    with unit_of_work(shelf, writes=False) as work:
        facets = tapes.page(work, TapeQuery.of({"program": 1, "place": "gone"})).facets

    assert [(each.label, each.chosen) for each in facets["program"]] == [("Tide table", True)]
    assert (facets["place"][0].value, facets["place"][0].count) == ("gone", 0)
    assert facets["format"] == ()


def test_pages_follow_each_other_without_a_gap(shelf):
    with unit_of_work(shelf, writes=False) as work:
        pages = [tapes.page(work, TapeQuery(page=at, page_size=3)) for at in (1, 2, 3)]

    assert [len(page.rows) for page in pages] == [3, 1, 0]
    assert {(page.total, page.pages) for page in pages} == {(4, 2)}
    assert len({row.accession_number for page in pages for row in page.rows}) == 4


def test_a_deleted_word_of_the_description_is_no_longer_found(shelf):
    with factories.acting(shelf) as work:
        tapes.change(work, "1980.1", TapeChange(origin="a loft"))

        assert numbers(work, q="flea") == []
        assert numbers(work, q="loft") == ["1980.1"]


def test_the_title_of_a_program_finds_its_tapes(shelf):
    with factories.acting(shelf) as work:
        programs.change(work, 1, ProgramChange(title="Moon phases"))

        assert numbers(work, q="moon") == ["1978.2", "1978.10"]
