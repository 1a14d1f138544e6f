from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.exc import StatementError
from sqlalchemy.orm import Session

from server.store.tables import Person

NOW = datetime(2026, 11, 25, 9, 0, 0, 123456, tzinfo=UTC)


def person(created_at: datetime) -> Person:
    return Person(
        name="ada",
        display_name="Ada",
        role="volunteer",
        password_hash="x",
        created_at=created_at,
        password_changed_at=NOW,
    )


def read_back(engine: Engine, created_at: datetime) -> datetime:
    with Session(engine) as session, session.begin():
        session.add(person(created_at))
    with Session(engine) as session:
        return session.scalars(select(Person)).one().created_at


def test_moment_comes_back_in_utc_to_the_microsecond(engine: Engine):
    found = read_back(engine, NOW)

    assert found == NOW
    assert timedelta(0) == found.utcoffset()


def test_moment_of_another_zone_comes_back_as_the_same_moment(engine: Engine):
    found = read_back(engine, NOW.astimezone(timezone(timedelta(hours=-7))))

    assert found == NOW
    assert timedelta(0) == found.utcoffset()


def test_moment_without_a_zone_is_refused(engine: Engine):
    with pytest.raises(StatementError, match="has no time zone"):
        read_back(engine, NOW.replace(tzinfo=None))
