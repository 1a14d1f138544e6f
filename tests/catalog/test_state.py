"""The state of the library: shares counted right, by indexes alone, and a year's work by month."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from sqlalchemy import Engine, event, update
from sqlmodel import col

from server.catalog import condition, state, tapes
from server.catalog.condition_values import NewReport
from server.catalog.tape_values import NewTape
from server.catalog.vocabulary import Condition
from server.catalog.work import VISITOR, Role, Work, unit_of_work
from server.store.tapes import Tape
from tests import factories


def filled(work: Work) -> None:
    """Six tapes, each with more done to it than the one before; the last has left."""
    for number in range(1, 7):
        tapes.create(work, NewTape(title=f"Tape {number}", accession_number=f"1978.{number}"))
    program = factories.program(work, title="Tide table")
    for number, data in ((3, factories.text_tape()), (6, factories.hex_tape())):
        factories.upload(work, data, tape=f"1978.{number}", read_on=date(2024, 3, 5))
    late = replace(work, now=datetime(2024, 3, 31, 23, 59, tzinfo=UTC))
    factories.upload(late, factories.hex_tape(), tape="1978.4")
    work.session.execute(
        update(Tape).where(col(Tape.accession_number) == "1978.4").values(program_id=program.id)
    )
    for number, how in ((5, Condition.FRAGILE), (6, Condition.UNFIT)):
        condition.log(
            work,
            NewReport(tape=f"1978.{number}", checked_on=date(2024, 12, 31), state=how),
        )
    gone = update(Tape).where(col(Tape.accession_number) == "1978.6")
    work.session.execute(gone.values(deaccessioned_on=date(2025, 1, 1)))


@pytest.fixture
def library(engine: Engine) -> Engine:
    with factories.acting(engine, Role.ARCHIVIST) as work:
        filled(work)
    return engine


def test_each_share_is_of_the_tapes_that_are_here(library):
    with unit_of_work(library, VISITOR, writes=False) as work:
        told = state.of(work)

    assert told.tapes == 5
    assert {each.name: each.count for each in told.shares} == {
        "read": 2, "verified": 1, "described": 1, "looked-at": 1, "in-danger": 1,
    }  # fmt: skip
    assert told.unread_in_danger == 1
    assert [each.share for each in told.shares] == [0.4, 0.2, 0.2, 0.2, 0.2]


def test_a_years_work_is_told_by_the_month_in_which_it_was_done(library):
    with unit_of_work(library, VISITOR, writes=False) as work:
        told = state.of(work, 2024)
        work_of = {each.name: each for each in told.work}
        this_year = work.now.year
        now = {each.name: each.total for each in state.of(work).work}

    assert (told.year, told.first, told.last) == (2024, 2024, this_year)
    assert work_of["readings"].months == (0, 0, 3, *[0] * 9)
    assert work_of["reports"].months == (*[0] * 11, 2)
    assert (work_of["entered"].total, now["entered"], now["readings"]) == (0, 6, 0)


@pytest.mark.parametrize(("asked", "told"), [(1, 2024), (9999, None)])
def test_a_year_without_work_leads_to_the_nearest_that_has_some(library, asked, told):
    with unit_of_work(library, VISITOR, writes=False) as work:
        assert state.of(work, asked).year == (told or work.now.year)


def test_a_day_that_is_a_slip_of_the_pen_hides_no_year_of_work(engine):
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.1")
        for day in (date(1898, 5, 5), date(1998, 5, 5), date(2003, 5, 5)):
            condition.log(work, NewReport(tape="1978.1", checked_on=day, state=Condition.GOOD))

        assert state.of(work).first == 1998


def test_an_empty_library_has_a_state_too(engine):
    with unit_of_work(engine, VISITOR, writes=False) as work:
        told = state.of(work)

        assert (told.tapes, told.first, told.last) == (0, work.now.year, work.now.year)
        assert {each.share for each in told.shares} == {0.0}
        assert {each.total for each in told.work} == {0}


def test_all_is_counted_by_indexes_and_remembered(sqlite_engine):
    with factories.acting(sqlite_engine, Role.ARCHIVIST) as work:
        filled(work)
    asked: list[tuple[str, Any]] = []

    def note(connection, cursor, statement, parameters, context, many):
        if statement.startswith("SELECT"):
            asked.append((statement, parameters))

    with unit_of_work(sqlite_engine, VISITOR, writes=False) as work:
        bound = work.session.connection().engine
        event.listen(bound, "before_cursor_execute", note)
        state.of(work)
        first = len(asked)
        state.of(work)
        event.remove(bound, "before_cursor_execute", note)
        assert len(asked) == first, "asked again, though nothing changed"
        connection = work.session.connection()
        plans = {
            row[3]
            for statement, parameters in list(asked)
            for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
        }

    assert first > 5
    assert [
        plan
        for plan in plans
        if plan.startswith("SCAN ") and "INDEX" not in plan and "CONSTANT" not in plan
    ] == []
