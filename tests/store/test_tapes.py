from datetime import date

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store.tables import ConditionReport, Decoding, Tape
from server.store.tapes import accession_key
from tests.store.rows import NOW, add_image, add_tape, decoding_of

IN_ORDER = ["1978.2", "1978.10", "1978.10.a", "1978.10.B", "1978.100", "2026.1"]


def test_tapes_sort_by_accession_number_as_people_count(engine: Engine):
    with Session(engine) as session, session.begin():
        for number in reversed(IN_ORDER):
            add_tape(session, number, "A tape")

    with Session(engine) as session:
        found = session.scalars(select(Tape).order_by(col(Tape.accession_key)))

        assert [tape.accession_number for tape in found] == IN_ORDER


def test_key_follows_a_changed_number(engine: Engine):
    with Session(engine) as session, session.begin():
        add_tape(session, "1978.2", "A tape")
    with Session(engine) as session, session.begin():
        session.scalars(select(Tape)).one().accession_number = "1978.3"

    with Session(engine) as session:
        assert session.scalars(select(Tape)).one().accession_key == accession_key("1978.3")


def test_accession_number_is_given_once(engine: Engine):
    with Session(engine) as session, session.begin():
        add_tape(session, "1978.2", "A tape")
        with pytest.raises(IntegrityError), session.begin_nested():
            add_tape(session, "1978.2", "Another")


@pytest.mark.parametrize("levels", [4, 9])
def test_tape_of_impossible_levels_is_refused(engine: Engine, levels: int):
    with (
        Session(engine) as session,
        pytest.raises(IntegrityError, match="ck_tape_levels"),
    ):
        add_tape(session, "1978.2", "A tape", levels=levels)


def last_report(session: Session, tape: int) -> date | None:
    session.flush()
    return session.scalar(select(col(Tape.last_report)).where(col(Tape.id) == tape))


def report(tape: int, day: date) -> ConditionReport:
    return ConditionReport(
        tape_id=tape, checked_on=day, state="good", created_at=NOW, updated_at=NOW
    )


def test_a_tape_knows_the_day_of_its_newest_report(engine: Engine):
    with Session(engine) as session, session.begin():
        tape, other = (add_tape(session, number, "A tape") for number in ("1978.2", "1978.3"))
        assert last_report(session, tape) is None

        newer, older = report(tape, date(1980, 5, 1)), report(tape, date(1979, 5, 1))
        session.add_all((newer, older))
        assert last_report(session, tape) == date(1980, 5, 1)
        newer.checked_on = date(1978, 5, 1)
        assert last_report(session, tape) == date(1979, 5, 1)
        older.tape_id = other
        assert last_report(session, tape) == date(1978, 5, 1)
        assert last_report(session, other) == date(1979, 5, 1)
        session.delete(older)
        assert last_report(session, other) is None


def test_image_has_one_current_decoding(engine: Engine):
    with Session(engine) as session, session.begin():
        image_id = add_image(session, "10 END\n")
        with pytest.raises(IntegrityError), session.begin_nested():
            session.add(decoding_of(image_id, "10 END\n", decoder_release="2"))

        session.scalars(select(Decoding)).one().superseded = True
        session.flush()
        session.add(decoding_of(image_id, "10 END\n", decoder_release="2"))
        session.flush()


def test_large_columns_come_only_when_asked_for(sqlite_engine: Engine):
    with Session(sqlite_engine) as session, session.begin():
        add_image(session, "10 END\n")

    with Session(sqlite_engine) as session:
        decoding = session.scalars(select(Decoding)).one()

        assert not {"listing", "content"} & set(decoding.__dict__)
        assert decoding.content == b"10 END\n"
