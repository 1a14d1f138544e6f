"""What was worked out is told again: exactly, or where it was slow a little later."""

import time
from collections.abc import Iterator
from itertools import count

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.store import remembered
from server.store.engine import reading
from server.store.remembered import nearly_current
from tests.store.rows import add_tape

NUMBERS = count(1)


class Clock:
    """A clock that goes on only when somebody works."""

    def __init__(self) -> None:
        self.now = 1000.0

    def monotonic(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[Clock]:
    made = Clock()
    monkeypatch.setattr(time, "monotonic", made.monotonic)
    yield made
    monkeypatch.undo()


def ask(engine: Engine, clock: Clock, seconds: float) -> int:
    """A new number each time that it is really worked out, which takes so long."""

    def work_out() -> int:
        clock.now += seconds
        return next(NUMBERS)

    with Session(reading(engine)) as session:
        return nearly_current(session, "key", work_out)


def change(engine: Engine) -> None:
    with Session(engine) as session, session.begin():
        add_tape(session, f"1979.{next(NUMBERS)}", "Tides")


def test_what_is_quick_is_never_older_than_the_last_change(engine, clock):
    first = ask(engine, clock, 0.01)
    assert ask(engine, clock, 0.01) == first

    change(engine)

    assert ask(engine, clock, 0.01) > first


def test_what_was_slow_is_told_again_for_a_while(engine, clock):
    ask(engine, clock, 0.2)
    change(engine)
    first = ask(engine, clock, 0.2)
    change(engine)
    assert ask(engine, clock, 0.2) == first

    clock.now += 0.2 * remembered.PATIENCE

    assert ask(engine, clock, 0.2) > first


def test_what_was_slow_once_is_told_as_it_is_the_next_time(engine, clock):
    first = ask(engine, clock, 0.2)
    change(engine)
    second = ask(engine, clock, 0.01)
    change(engine)
    third = ask(engine, clock, 0.2)
    change(engine)

    assert first < second < third < ask(engine, clock, 0.2)


def test_a_transaction_that_writes_works_it_out_itself(sqlite_engine, clock):
    ask(sqlite_engine, clock, 0.2)
    change(sqlite_engine)
    first = ask(sqlite_engine, clock, 0.2)
    with Session(sqlite_engine) as session:
        assert nearly_current(session, "key", lambda: next(NUMBERS)) > first


def test_no_more_is_kept_than_there_is_room_for(sqlite_engine, clock):
    with Session(reading(sqlite_engine)) as session:
        for number in range(remembered.KEPT + 3):

            def work_out(number: int = number) -> int:
                clock.now += 0.1
                return number

            assert nearly_current(session, number, work_out) == number
        kept = session.connection().info["feedhole_slowly_worked_out"]
        assert len(kept) <= remembered.KEPT
