"""What was worked out is told again for as long as nothing has changed."""

from functools import partial
from itertools import count

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.store.engine import reading
from server.store.remembered import KEPT, remembered
from tests.store.rows import add_tape

NUMBERS = count(1)


def ask(engine: Engine) -> int:
    """A new number each time that it is really worked out."""
    with Session(reading(engine)) as session:
        return remembered(session, "key", lambda: next(NUMBERS))


def test_what_was_worked_out_is_never_older_than_the_last_change(engine):
    first = ask(engine)
    assert ask(engine) == first

    with Session(engine) as session, session.begin():
        add_tape(session, f"1979.{next(NUMBERS)}", "Tides")

    assert ask(engine) > first


def test_a_transaction_that_writes_works_it_out_itself(sqlite_engine):
    first = ask(sqlite_engine)
    with Session(sqlite_engine) as session:
        assert remembered(session, "key", lambda: next(NUMBERS)) > first


def test_no_more_is_kept_than_there_is_room_for(sqlite_engine):
    with Session(reading(sqlite_engine)) as session:
        for number in range(KEPT + 3):
            assert remembered(session, number, partial(abs, number)) == number
        _, kept = session.connection().info["feedhole_remembered"]
        assert len(kept) <= KEPT
