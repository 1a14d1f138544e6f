"""How often lists of the shelves ask the database: as often for many rows as for one."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, event

from server.catalog import (
    lying,
    movements,
    place_records,
    shelf_check_records,
    shelf_checks,
    tape_request_records,
    tape_requests,
)
from server.catalog.place_values import MovementQuery, PlaceMove, PlaceQuery
from server.catalog.request_values import NewRequest, RequestQuery
from server.catalog.shelf_check_values import CheckQuery, Found
from server.catalog.tape_values import PageQuery
from server.catalog.work import Role, Work, unit_of_work
from tests import factories

BOXES = 5


def at(work: Work, path: str) -> int:
    found = place_records.at_path(work, path)
    assert found is not None, path
    return found


def cellar(work: Work) -> int:
    return at(work, "Cellar")


PAGES: dict[str, Callable[[Work, int], Any]] = {
    "places": lambda work, size: place_records.page(work, PlaceQuery(page_size=size)),
    "tapes in a place": lambda work, size: lying.within_place(
        work, cellar(work), PageQuery(page_size=size)
    ),
    "movements": lambda work, size: movements.page(work, MovementQuery(page_size=size)),
    "requests": lambda work, size: tape_request_records.page(work, RequestQuery(page_size=size)),
    "checks": lambda work, size: shelf_check_records.page(work, CheckQuery(page_size=size)),
}


@pytest.fixture
def shelves(sqlite_engine: Engine) -> Engine:
    """Boxes that were moved into a cellar, each with a tape that somebody wants, and a check."""
    for box in range(BOXES):
        with factories.acting(sqlite_engine) as work:
            number, name = f"1979.{box + 1}", f"box {box + 1}"
            factories.tape(work, accession_number=number, place=f"Loft, {name}")
            factories.tape(work, accession_number=f"1980.{box + 1}", place="Cellar")
            movements.move_place(work, at(work, f"Loft, {name}"), PlaceMove(parent=cellar(work)))
            wanted_on = work.now.date() + timedelta(days=1)
            new = NewRequest(tape=number, wanted_on=wanted_on, purpose="x")
        asking = factories.person(sqlite_engine, Role.VOLUNTEER, name.title())
        with unit_of_work(sqlite_engine, asking) as work:
            tape_requests.ask(work, new)
            check = shelf_checks.begin(work, at(work, f"Cellar, {name}")).id
            shelf_checks.find(work, check, Found(tapes=(f"1980.{box + 1}",)))
    return sqlite_engine


@contextmanager
def asked(engine: Engine) -> Iterator[tuple[Work, list[str]]]:
    """A unit of work of its own, so that nothing is known yet, and what it asks the database."""
    statements: list[str] = []

    def note(*given: Any) -> None:
        statements.append(given[2])

    with factories.acting(engine) as work:
        bound = work.session.connection().engine
        event.listen(bound, "before_cursor_execute", note)
        yield work, statements
        event.remove(bound, "before_cursor_execute", note)


@pytest.mark.parametrize("name", PAGES)
def test_a_list_asks_as_often_for_many_rows_as_for_one(shelves, name):
    with asked(shelves) as (work, for_one):
        assert len(PAGES[name](work, 1).rows) == 1
    with asked(shelves) as (work, for_many):
        assert len(PAGES[name](work, BOXES).rows) == BOXES
    assert len(for_many) == len(for_one)


def test_a_check_of_many_boxes_asks_as_often_as_one_of_a_single_box(shelves):
    with factories.acting(shelves) as work:
        factories.tape(work, accession_number="1981.1", place="Loft, box 9")
        of_one = shelf_checks.begin(work, at(work, "Loft, box 9")).id
        of_all = shelf_checks.begin(work, cellar(work)).id
        shelf_checks.find(work, of_all, Found(tapes=("1979.1", "1980.2")))
    with asked(shelves) as (work, for_one):
        assert len(shelf_check_records.get(work, of_one).items) == 1
    with asked(shelves) as (work, for_many):
        assert len(shelf_check_records.get(work, of_all).items) == 2 * BOXES
    assert len(for_many) == len(for_one)
