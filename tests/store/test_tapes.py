import pytest
from sqlalchemy import Engine, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store.tables import Decoding, Tape
from server.store.tapes import accession_key
from tests.store.rows import add_image, add_tape, decoding_of

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
