"""Whether a reader may have a tape, and an archivist's word that it may all the same."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import Engine, select
from sqlmodel import col

from server.catalog import condition, events, handling, held, images, running, shelf, tapes
from server.catalog.condition_values import NewReport
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotSignedIn, Quarantined
from server.catalog.events import EventType, ObjectKind
from server.catalog.tape_values import TapeQuery
from server.catalog.vocabulary import Condition, Handling, Hazard
from server.catalog.work import Role, Work, unit_of_work
from server.store.tapes import Tape
from tests import factories

NUMBER = "1978.4"
DAY = date(2026, 1, 2)
FORBIDDING = [
    {"state": Condition.UNFIT},
    {"handling": Handling.DO_NOT_RUN},
    {"machine_readable": False},
    {"hazard": Hazard.MOULD},
]


@pytest.fixture
def library(sqlite_engine: Engine) -> Engine:
    with factories.acting(sqlite_engine) as work:
        factories.tape(work, accession_number=NUMBER)
    return sqlite_engine


def log(work: Work, day: date = DAY, **others) -> None:
    given = {"tape": NUMBER, "checked_on": day, "state": Condition.WORN}
    condition.log(work, NewReport.model_validate(given | others))


def outcomes(work: Work) -> list[str]:
    told = events.of(work, ObjectKind.TAPE, NUMBER)
    return [each.outcome for each in told if each.type == EventType.RUNNING]


@pytest.mark.parametrize("report", FORBIDDING)
def test_a_report_that_forbids_it_stops_every_reader(engine, report):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number=NUMBER)
        log(work)
        assert running.of(work, NUMBER).may_run
        log(work, DAY + timedelta(days=1), **report)

        told = running.of(work, NUMBER)
        assert (told.do_not_run, told.may_run) == (True, False)
        assert told.warnings[0].startswith(handling.DO_NOT_RUN)


@pytest.mark.parametrize("report", FORBIDDING)
def test_what_lists_and_questions_say_of_it_is_the_same(engine, report):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number=NUMBER)
        factories.tape(work, accession_number="1978.5")
        receipt = factories.upload(work, factories.text_tape(), tape=NUMBER)
        log(work, **report)
        work.session.expire_all()

        rows = shelf.rows(work.session, TapeQuery())
        asked = select(col(Tape.accession_number)).where(handling.is_not_to_be_run())
        image_id = held.image_id_of(work, receipt.image.sha256)
        assert [each.do_not_run for each in rows] == [True, False]
        assert list(work.session.scalars(asked)) == [NUMBER]
        assert tapes.get(work, NUMBER).do_not_run
        assert images.get(work, receipt.image.sha256).tapes[0].do_not_run
        assert held.titles(work, [image_id])[image_id].do_not_run


def test_only_the_newest_report_counts_whenever_it_was_logged(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number=NUMBER)
        log(work, handling=Handling.DO_NOT_RUN)
        log(work, DAY + timedelta(days=1), next_check=date(2027, 1, 1))
        log(work, DAY - timedelta(days=1), handling=Handling.DO_NOT_RUN)
        work.session.expire_all()
        tape = held.tape_of(work, NUMBER)

        assert running.of(work, NUMBER).may_run
        assert tape.next_check == date(2027, 1, 1)


def test_how_the_newest_report_says_to_handle_it_is_told(library):
    with factories.acting(library) as work:
        log(work, handling=Handling.NO_SPROCKET)

        (told,) = handling.warnings_of(work, NUMBER)
        assert "No sprocket" in told


def test_an_archivists_word_lets_it_be_read_once(library):
    with factories.acting(library) as work:
        log(work, handling=Handling.DO_NOT_RUN)
        running.permit(work, NUMBER, "The only copy; pulled by hand by two people.")
        told = running.of(work, NUMBER)
        assert told.permission is not None
        assert (told.do_not_run, told.may_run) == (True, True)
        assert told.permission.valid_until == work.now + timedelta(days=1)

        receipt = factories.upload(work, factories.text_tape(), tape=NUMBER)

        assert "used up" in " ".join(receipt.notes)
        assert not running.of(work, NUMBER).may_run
        assert outcomes(work) == ["used", "permitted"]


def test_the_word_ends_after_a_day(library):
    with factories.acting(library) as work:
        log(work, handling=Handling.DO_NOT_RUN)
        running.permit(work, NUMBER, "for the open day")
        later = replace(work, now=work.now + timedelta(days=1, seconds=1))

        assert not running.of(later, NUMBER).may_run


def test_the_word_can_be_taken_back(library):
    with factories.acting(library) as work:
        log(work, handling=Handling.DO_NOT_RUN)
        running.permit(work, NUMBER, "for the open day")
        running.withdraw(work, NUMBER)
        running.withdraw(work, NUMBER)

        assert not running.of(work, NUMBER).may_run
        assert outcomes(work) == ["withdrawn", "permitted"]


def test_a_word_says_why_and_is_given_once_and_only_where_it_is_needed(library):
    with factories.acting(library) as work:
        with pytest.raises(Conflict, match="Nothing stands against"):
            running.permit(work, NUMBER, "just so")
        log(work, handling=Handling.DO_NOT_RUN)
        with pytest.raises(Invalid):
            running.permit(work, NUMBER, " ")
        running.permit(work, NUMBER, "for the open day")
        with pytest.raises(Conflict, match="already"):
            running.permit(work, NUMBER, "once more")


def test_no_word_lets_a_tape_run_that_is_held_apart(library):
    with factories.acting(library) as work:
        log(work, hazard=Hazard.MOULD)
        with pytest.raises(Quarantined):
            running.permit(work, NUMBER, "with a mask on")


def test_only_an_archivist_gives_the_word(library):
    with factories.acting(library, Role.VOLUNTEER) as work:
        log(work, handling=Handling.DO_NOT_RUN)
        with pytest.raises(NotAllowed):
            running.permit(work, NUMBER, "mine")
        with pytest.raises(NotAllowed):
            running.withdraw(work, NUMBER)
    with unit_of_work(library) as work, pytest.raises(NotSignedIn):
        running.permit(work, NUMBER, "mine")


def test_a_reading_that_nobody_allowed_is_kept_and_written_down(library):
    with factories.acting(library) as work:
        log(work, handling=Handling.DO_NOT_RUN)
        work.session.expire_all()
        receipt = factories.upload(work, factories.text_tape(), tape=NUMBER, read_on=DAY)

        assert "nobody had allowed it" in " ".join(receipt.notes)
        assert outcomes(work) == ["read without permission"]
        assert tapes.get(work, NUMBER).image is not None


def test_a_reading_from_before_the_report_uses_up_no_word(library):
    with factories.acting(library) as work:
        log(work, handling=Handling.DO_NOT_RUN)
        work.session.expire_all()
        before = {"tape": NUMBER, "read_on": DAY - timedelta(days=1)}
        assert factories.upload(work, factories.text_tape(), **before).notes == ()
        running.permit(work, NUMBER, "for the open day")
        assert factories.upload(work, factories.hex_tape(), **before).notes == ()

        assert running.of(work, NUMBER).may_run
