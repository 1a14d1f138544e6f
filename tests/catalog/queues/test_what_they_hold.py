"""Each queue holds what it should, and lets go of what is settled, on both databases."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta

import pytest
from sqlalchemy import Engine, event, select
from sqlmodel import col

from server.catalog import condition, families, programs, tapes, verification
from server.catalog.condition_values import NewReport
from server.catalog.errors import Invalid, NotFound
from server.catalog.family_values import Decided, NewDecision
from server.catalog.program_values import NewVersion
from server.catalog.queues import BY_HAND, QUEUES, About, Asked, held_in, listable, queue_of
from server.catalog.queues.values import CAP, Told
from server.catalog.tape_values import TapeChange
from server.catalog.vocabulary import Condition, Hazard
from server.catalog.work import COMMAND, Role, Work, unit_of_work
from server.store.tables import Tape
from tests import factories, readings

TODAY = date.today()  # noqa: DTZ011 - reports are dated by the day, and one day does not matter
PRIMES = [f"{10 * n} PRINT {n * n}" for n in range(1, 30)]


def held(engine: Engine, name: str, years: int = 5) -> list[str]:
    """The keys of what a queue holds; its count is always that of its list."""
    with unit_of_work(engine, writes=False) as work:
        page = held_in.page(work, queue_of(name), years)
        (counted,) = [each for each in held_in.counts(work, years) if each.name == name]
        assert counted == held_in.told(work, queue_of(name), years)
    assert (page.total, counted.more) == (len(page.rows), False)
    assert counted.count == page.total
    return [entry.key for entry in page.rows]


def log(work: Work, number: str, day: date = TODAY, hazard: Hazard = Hazard.NONE) -> None:
    new = NewReport(tape=number, checked_on=day, state=Condition.GOOD, hazard=hazard)
    condition.log(work, new)


def read(work: Work, number: str, data: bytes) -> str:
    """A tape, entered if it was not, and what was read from it."""
    entered = select(col(Tape.id)).where(col(Tape.accession_number) == number)
    if work.session.scalar(entered) is None:
        factories.tape(work, accession_number=number)
    return factories.upload(work, data, tape=number).image.sha256


def test_an_unread_tape_waits_until_something_is_read_from_it(engine):
    with factories.acting(engine) as work:
        for number in ("1979.10", "1979.9", "1979.8"):
            factories.tape(work, accession_number=number)
        log(work, "1979.8", hazard=Hazard.MOULD)
    assert held(engine, "unread") == ["1979.9", "1979.10"]

    with factories.acting(engine) as work:
        factories.upload(work, factories.text_tape(), tape="1979.9")

    assert held(engine, "unread") == ["1979.10"]


def test_a_tape_in_quarantine_is_unread_again_once_it_is_released(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1979.1")
        log(work, "1979.1", hazard=Hazard.MOULD)
    assert held(engine, "unread") == []
    with factories.acting(engine) as work:
        log(work, "1979.1")
    with unit_of_work(engine, factories.person(engine, Role.ARCHIVIST)) as work:
        condition.release(work, "1979.1", "Looked at by the conservator.")

    assert held(engine, "unread") == ["1979.1"]


def test_a_single_reading_waits_for_a_second_or_for_somebody_who_vouches(engine):
    with factories.acting(engine) as work:
        proofed = read(work, "1979.1", factories.text_tape())
        read(work, "1979.2", factories.text_tape(*PRIMES))
        read(work, "1979.3", factories.hex_tape())
        read(work, "1979.4", factories.text_tape("10 END"))
        log(work, "1979.4", hazard=Hazard.PESTS)
    assert held(engine, "single-reading") == ["1979.1", "1979.2"]

    with factories.acting(engine) as work:
        verification.proof_read(work, proofed, "Read aloud.")
        factories.upload(work, factories.text_tape(*PRIMES), tape="1979.2")

    assert held(engine, "single-reading") == []


def test_readings_disagree_until_they_are_merged_and_agree(engine):
    with factories.acting(engine) as work:
        read(work, "1979.1", factories.text_tape())
    numbers = readings.held(engine, readings.three(readings.PUNCHED))
    assert held(engine, "readings-disagree") == [readings.TAPE]

    record = readings.merge(engine, numbers)
    assert held(engine, "readings-disagree") == [readings.TAPE], "these three do not agree"
    with factories.acting(engine) as work:
        verification.proof_read(work, record.row.sha256, "Against the tape, by eye.")

    assert held(engine, "readings-disagree") == []


def test_two_equal_readings_leave_once_somebody_has_merged_them(engine):
    later = factories.text_tape(*readings.LINES, leader=90)
    numbers = readings.held(engine, [readings.PUNCHED, later])
    assert held(engine, "readings-disagree") == [readings.TAPE]
    assert held(engine, "single-reading") == []

    readings.merge(engine, numbers)

    assert held(engine, "readings-disagree") == []


def test_damaged_checks_wait_for_a_sound_reading_or_for_somebody_who_vouches(engine):
    bad = factories.damaged(factories.text_tape(), 80)
    other = factories.damaged(factories.text_tape(*PRIMES), 90)
    with factories.acting(engine) as work:
        read(work, "1979.1", bad)
        proofed = read(work, "1979.2", other)
        read(work, "1979.3", factories.text_tape("10 END"))
    assert held(engine, "damaged-checks") == ["1979.1", "1979.2"]

    with factories.acting(engine) as work:
        factories.upload(work, factories.text_tape(), tape="1979.1")
        verification.proof_read(work, proofed, "It was punched so.")

    assert held(engine, "damaged-checks") == []


def test_an_image_is_unidentified_until_its_program_is_known(engine):
    with factories.acting(engine) as work:
        loose = factories.upload(work, factories.text_tape()).image.sha256
        read_once = read(work, "1979.1", factories.text_tape(*PRIMES))
        master = read(work, "1979.2", factories.hex_tape())
        unread = factories.tape(work, accession_number="1979.3").accession_number
    assert unread not in held(engine, "unidentified")
    assert held(engine, "unidentified") == [loose, read_once, master]

    with factories.acting(engine) as work:
        program = factories.program(work)
        tapes.change(work, "1979.1", TapeChange(program=program.id))
        programs.add_version(work, program.id, NewVersion(label="1", sha256=master))
    assert held(engine, "unidentified") == [loose]
    with factories.acting(engine) as work:
        tapes.attach(work, "1979.1", loose)

    assert held(engine, "unidentified") == []


def test_only_the_newest_image_of_a_tape_is_to_be_identified(engine):
    with factories.acting(engine) as work:
        read(work, "1979.1", factories.damaged(factories.text_tape(), 80))
        newest = read(work, "1979.1", factories.text_tape())

    assert held(engine, "unidentified") == [newest]


def test_a_tape_waits_for_a_report_when_the_newest_is_years_old(engine):
    with factories.acting(engine) as work:
        for number in ("1979.1", "1979.2", "1979.3"):
            factories.tape(work, accession_number=number)
        log(work, "1979.2", TODAY - timedelta(days=6 * 366))
        log(work, "1979.3", TODAY - timedelta(days=4 * 365))
    assert held(engine, "no-report") == ["1979.1", "1979.2"]
    assert held(engine, "no-report", years=3) == ["1979.1", "1979.2", "1979.3"]
    assert held(engine, "no-report", years=7) == ["1979.1"]

    with factories.acting(engine) as work:
        log(work, "1979.1")
        log(work, "1979.2")

    assert held(engine, "no-report") == []


def test_a_report_of_leap_day_is_old_on_the_last_day_of_february():
    asked = Asked(date(2028, 2, 29), 5)

    assert asked.oldest_report == date(2023, 2, 28)
    assert Asked(date(2028, 2, 29), 4).oldest_report == date(2024, 2, 29)
    assert Asked(date(90, 1, 1), 100).oldest_report == date(1, 1, 1)
    assert (asked.years, Asked(date(2028, 1, 1), 1).years) == ("5 years", "a year")


def test_kin_wait_for_a_decision_and_come_back_when_it_is_taken_back(engine):
    with factories.acting(engine) as work:
        first = read(work, "1979.1", factories.text_tape(*PRIMES))
        second = read(work, "1979.2", factories.text_tape(*PRIMES, "300 END"))
        read(work, "1979.3", factories.hex_tape())
    pair = f"{first}-{second}"
    assert held(engine, "kin-to-judge") == [pair]

    for kind, left in (
        (Decided.APART, []),
        (Decided.UNDECIDED, [pair]),
        (Decided.TOGETHER, []),
        (Decided.UNDECIDED, [pair]),
        (Decided.MADE_FROM, []),
    ):
        with factories.acting(engine) as work:
            families.decide(work, second, NewDecision(kind=kind, other=first))
        assert held(engine, "kin-to-judge") == left, kind


@pytest.mark.parametrize("known_by", ["tapes", "versions", "tape and version"])
def test_kin_of_one_program_need_no_decision(engine, known_by):
    with factories.acting(engine) as work:
        first = read(work, "1979.1", factories.text_tape(*PRIMES))
        second = read(work, "1979.2", factories.text_tape(*PRIMES, "300 END"))
        program, other = factories.program(work).id, factories.program(work, title="Other").id
        tapes.change(work, "1979.1", TapeChange(program=other))
    assert held(engine, "kin-to-judge") == [f"{first}-{second}"]

    with factories.acting(engine) as work:
        if known_by != "versions":
            tapes.change(work, "1979.1", TapeChange(program=program))
        else:
            programs.add_version(work, program, NewVersion(label="1", sha256=first))
        if known_by != "tapes":
            programs.add_version(work, program, NewVersion(label="2", sha256=second))
        else:
            tapes.change(work, "1979.2", TapeChange(program=program))

    assert held(engine, "kin-to-judge") == []


def test_two_readings_of_one_tape_are_for_merging_and_not_for_judging(engine):
    readings.held(engine, readings.three(readings.PUNCHED))

    assert held(engine, "kin-to-judge") == []


def test_an_entry_says_what_helps_to_judge_and_where_it_is_settled(sqlite_engine):
    bad = factories.damaged(factories.text_tape(), 80)
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number="1979.1", title="Tides", place="Box 1")
        factories.upload(work, bad, tape="1979.1")
        log(work, "1979.1", date(2020, 1, 2))
        log(work, "1979.1", date(2019, 1, 2))
    with unit_of_work(sqlite_engine, writes=False) as work:
        (entry,) = held_in.page(work, QUEUES["damaged-checks"], 5).rows
    steps = [each.address for each in entry.steps]

    assert (entry.tape, entry.title, entry.place) == ("1979.1", "Tides", "Box 1")
    assert (entry.check_status, entry.verification) == ("damaged", "unverified")
    assert (entry.condition, entry.last_report) == ("good", date(2020, 1, 2))
    assert steps == [f"/images/{entry.image}", "/upload?tape=1979.1",
                     f"/images/{entry.image}/proof-read"]  # fmt: skip

    with factories.acting(sqlite_engine) as work:
        log(work, "1979.1", hazard=Hazard.MOULD)
        (entry,) = held_in.page(work, QUEUES["damaged-checks"], 5).rows
    assert entry.quarantined
    assert "/upload?tape=1979.1" not in [each.address for each in entry.steps]


def test_a_pair_says_how_the_two_relate(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        first = factories.upload(work, factories.text_tape(*PRIMES)).image.sha256
        second = read(work, "1979.2", factories.text_tape(*PRIMES, "300 END"))
        (entry,) = held_in.page(work, QUEUES["kin-to-judge"], 5).rows

    assert (entry.image, entry.other) == (first, second)
    assert (entry.title, entry.other_tape) == ("reading.bin", "1979.2")
    assert "one line added" in entry.detail
    assert [each.address for each in entry.steps] == [
        f"/images/{first}/compare/{second}",
        f"/images/{second}/family",
    ]


def test_a_count_ends_at_a_thousand_and_a_list_does_not(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        work.session.add_all(
            Tape(
                accession_number=f"1979.{number}",
                title="One of many",
                condition="good",
                created_at=work.now,
                updated_at=work.now,
            )
            for number in range(CAP + 5)
        )
    with unit_of_work(sqlite_engine, writes=False) as work:
        told = held_in.told(work, QUEUES["unread"], 5)
        last = held_in.page(work, QUEUES["unread"], 5, page=21)

    assert (told.count, told.more, told.shown) == (CAP, True, "1,000+")
    assert (last.total, last.pages, len(last.rows)) == (CAP + 5, 21, 5)


def test_an_unknown_queue_or_entry_is_not_found(sqlite_engine):
    with pytest.raises(NotFound, match="no queue nonsense"):
        queue_of("nonsense")
    with pytest.raises(NotFound, match="tapes-by-hand"):
        queue_of("tapes-by-hand")
    assert listable("tapes-by-hand") is BY_HAND[About.TAPE]
    with factories.acting(sqlite_engine) as work:
        sha256 = factories.upload(work, factories.text_tape()).image.sha256
        for name, key in (
            ("unread", "1979.1"),
            ("unidentified", "0" * 64),
            ("kin-to-judge", sha256),
            ("kin-to-judge", f"{sha256}-{'0' * 64}"),
        ):
            with pytest.raises(NotFound):
                held_in.find(work, QUEUES[name], key)
        with pytest.raises(Invalid):
            held_in.find(work, QUEUES["kin-to-judge"], f"{sha256}-{sha256}")


def test_every_queue_is_told_in_whole_sentences():
    for name, queue in QUEUES.items():
        told = Told.of(queue, Asked(TODAY, 5), 0)
        assert name == queue.name
        assert "{" not in f"{told.title}{told.meaning}{told.todo}{told.well_done}"
        assert told.well_done.startswith("Well done: ")
        assert queue.steps


@contextmanager
def asked_of(engine: Engine) -> Iterator[list[str]]:
    """The statements that are sent meanwhile."""
    sent: list[str] = []

    def note(_connection, _cursor, statement, *_):
        sent.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    yield sent
    event.remove(engine, "before_cursor_execute", note)


@pytest.mark.parametrize("name", QUEUES)
def test_no_queue_reads_frames_or_listings_and_none_scans_the_images(sqlite_engine, name):
    """What SQLite says of its plan (EXPLAIN QUERY PLAN): images are looked up by id only."""
    question = QUEUES[name].asks(Asked(TODAY, 5))
    with unit_of_work(sqlite_engine, COMMAND) as work:
        read(work, "1979.1", factories.text_tape(*PRIMES))
        read(work, "1979.2", factories.text_tape(*PRIMES, "300 END"))
        statement = str(question.compile(work.session.get_bind(),
                                         compile_kwargs={"literal_binds": True}))  # fmt: skip
        plan = work.session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}").all()
        with asked_of(sqlite_engine) as sent:
            held_in.page(work, QUEUES[name], 5)

    steps = [step for *_, step in plan]
    assert not [each for each in steps if each.startswith(("SCAN image", "SCAN decoding"))]
    assert not [each for each in sent if "image.frames" in each or "decoding.listing" in each]
    assert len(sent) <= 8
