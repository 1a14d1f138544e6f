"""Shelf checks: what is expected, what was found, and what the report says of the difference."""

from typing import Any

import pytest
from sqlalchemy import Engine

from server.catalog import (
    events,
    loans,
    movements,
    place_records,
    places,
    shelf_check_records,
    shelf_checks,
    tapes,
)
from server.catalog.errors import Conflict, Invalid, NotFound, NotSignedIn
from server.catalog.events import ObjectKind
from server.catalog.loan_values import Approval, HandOver, NewLoan
from server.catalog.place_values import Move, NewPlace, PlaceKind, State
from server.catalog.shelf_check_values import CheckQuery, CheckRecord, Closing, Found, Outcome
from server.catalog.work import Role, Work
from tests import factories

TAPES = {
    "1979.1": "Shelf 2, box 5",
    "1979.2": "Shelf 2, box 5",
    "1979.3": "Shelf 2, box 6",
    "1979.4": "Shelf 3, box 1",
}
EVERYTHING = Closing(mark_missing=True, move_found=True, note="Box 6 has lost its lid")


def at(work: Work, path: str) -> int:
    found = place_records.at_path(work, path)
    assert found is not None, path
    return found


def outcomes(check: CheckRecord) -> dict[str, Outcome | None]:
    return {item.tape: item.outcome for item in check.items}


@pytest.fixture
def shelves(engine: Engine) -> Engine:
    with factories.acting(engine) as work:
        for number, place in TAPES.items():
            factories.tape(work, accession_number=number, place=place)
    return engine


@pytest.fixture
def on_sqlite(sqlite_engine: Engine) -> Engine:
    with factories.acting(sqlite_engine) as work:
        for number, place in TAPES.items():
            factories.tape(work, accession_number=number, place=place)
    return sqlite_engine


def begun(engine: Engine, path: str = "Shelf 2") -> int:
    with factories.acting(engine, Role.VOLUNTEER) as work:
        return shelf_checks.begin(work, at(work, path)).id


def test_a_check_closes_with_a_report_of_what_differs_and_enters_it(shelves):
    check = begun(shelves)
    with factories.acting(shelves, Role.VOLUNTEER) as work:
        expected = shelf_check_records.get(work, check)
        assert list(outcomes(expected)) == ["1979.1", "1979.2", "1979.3"]
        assert (expected.expected, expected.found) == (3, 0)
        shelf_checks.find(work, check, Found(tapes=("1979.1",)))
        box_5 = at(work, TAPES["1979.1"])
        shelf_checks.find(work, check, Found(tapes=("1979.3", "1979.4"), place=box_5))
        closed = shelf_checks.close(work, check, EVERYTHING)
        assert outcomes(closed) == {
            "1979.1": Outcome.AS_EXPECTED,
            "1979.2": Outcome.NOT_FOUND,
            "1979.3": Outcome.ELSEWHERE,
            "1979.4": Outcome.NOT_EXPECTED,
        }
        assert (closed.note, closed.found) == ("Box 6 has lost its lid", 2)
        now_in = {number: tapes.get(work, number).place for number in TAPES}
        box = "Shelf 2, box 5"
        assert now_in == {"1979.1": box, "1979.2": "missing", "1979.3": box, "1979.4": box}
        (row,) = shelf_check_records.page(work, CheckQuery(place=at(work, "Shelf 2"))).rows
        assert (row.expected, row.found, row.differing) == (3, 2, 3)
        told = events.of(work, ObjectKind.SHELF_CHECK, check)[0]
        assert told.facts["differing"]["not found"] == ["1979.2"]
        assert events.of(work, ObjectKind.PLACE, at(work, "Shelf 2"))[0].outcome == "closed"


def test_the_report_is_kept_as_it_was_whatever_moves_later(on_sqlite):
    check = begun(on_sqlite)
    with factories.acting(on_sqlite) as work:
        shelf_checks.close(work, check, Closing())
        assert {movements.of(work, number).state for number in TAPES} == {State.PLACED}
        movements.put(work, Move(tapes=("1979.1",), written="Table"))
        kept = shelf_check_records.get(work, check)
        assert set(outcomes(kept).values()) == {Outcome.NOT_FOUND}
        assert kept.items[0].expected_where == "Shelf 2, box 5"


def test_a_tape_that_somebody_moved_meanwhile_is_not_called_missing(on_sqlite):
    check = begun(on_sqlite)
    with factories.acting(on_sqlite) as work:
        movements.put(work, Move(tapes=("1979.1",), written="Table"))
        closed = shelf_checks.close(work, check, EVERYTHING)
        assert outcomes(closed)["1979.1"] is Outcome.MOVED_MEANWHILE
        assert tapes.get(work, "1979.1").place == "Table"


def test_a_lent_tape_that_turns_up_is_reported_and_its_loan_left_alone(on_sqlite):
    with factories.acting(on_sqlite) as work:
        new = NewLoan(tape="1979.4", borrower="A school", purpose="x", due_on=work.now.date())
        loan = loans.propose(work, new).id
        loans.approve(work, loan, Approval())
        loans.give_out(work, loan, HandOver(state="good"))
        check = shelf_checks.begin(work, at(work, "Shelf 2")).id
        shelf_checks.find(work, check, Found(tapes=("1979.4",)))
        closed = shelf_checks.close(work, check, EVERYTHING)
        assert outcomes(closed)["1979.4"] is Outcome.NOT_EXPECTED
        assert tapes.get(work, "1979.4").place == "on loan"


def test_what_was_ticked_wrongly_is_taken_back(on_sqlite):
    check = begun(on_sqlite)
    with factories.acting(on_sqlite) as work:
        shelf_checks.find(work, check, Found(tapes=("1979.1", "1979.4")))
        after = shelf_checks.take_back(work, check, ["1979.1", "1979.4", "1979.2"])
        assert (after.found, [item.tape for item in after.items]) == (
            0, ["1979.1", "1979.2", "1979.3"]
        )  # fmt: skip


def test_a_place_is_looked_through_once_at_a_time(shelves):
    check = begun(shelves)
    with pytest.raises(Conflict, match="already"):
        begun(shelves)
    with factories.acting(shelves) as work:
        assert shelf_check_records.open_at(work, at(work, "Shelf 2")) == check
        shelf_checks.close(work, check, Closing())
        assert shelf_check_records.open_at(work, at(work, "Shelf 2")) is None
        for attempt in (
            lambda: shelf_checks.close(work, check, Closing()),
            lambda: shelf_checks.find(work, check, Found(tapes=("1979.1",))),
            lambda: shelf_checks.take_back(work, check, ["1979.1"]),
        ):
            with pytest.raises(Conflict, match="closed"):
                attempt()
    assert begun(shelves) != check


def test_a_check_that_somebody_went_on_with_is_not_closed_unseen(on_sqlite):
    check = begun(on_sqlite)
    with factories.acting(on_sqlite) as work:
        revision = shelf_check_records.get(work, check).revision
        shelf_checks.find(work, check, Found(tapes=("1979.1",)))
        with pytest.raises(Conflict, match="changed since"):
            shelf_checks.close(work, check, Closing(), revision)


def test_what_cannot_be_found_here_is_refused(on_sqlite):
    check = begun(on_sqlite)
    with factories.acting(on_sqlite) as work:
        elsewhere = at(work, "Shelf 3")
        attempts: tuple[tuple[Any, type[Exception]], ...] = (
            (lambda: shelf_checks.find(work, check, Found(tapes=("1901.1",))), NotFound),
            (
                lambda: shelf_checks.find(work, check, Found(tapes=("1979.1",), place=elsewhere)),
                Invalid,
            ),
            (lambda: shelf_checks.begin(work, 99), NotFound),
            (lambda: shelf_check_records.get(work, 99), NotFound),
        )
        for attempt, kind in attempts:
            with pytest.raises(kind):
                attempt()


def test_more_than_one_check_can_hold_is_refused(on_sqlite, monkeypatch):
    monkeypatch.setattr(shelf_checks, "MOST", 2)
    with pytest.raises(Invalid, match="3 tapes lie in"):
        begun(on_sqlite)


def test_checks_are_for_those_who_work_here(on_sqlite):
    check = begun(on_sqlite)
    with factories.acting(on_sqlite, Role.VISITOR) as work:
        attempts: tuple[Any, ...] = (
            lambda: shelf_checks.begin(work, 1),
            lambda: shelf_check_records.get(work, check),
            lambda: shelf_check_records.page(work, CheckQuery()),
            lambda: shelf_checks.find(work, check, Found(tapes=("1979.1",))),
            lambda: shelf_checks.take_back(work, check, ["1979.1"]),
            lambda: shelf_checks.close(work, check, Closing()),
        )
        for attempt in attempts:
            with pytest.raises(NotSignedIn):
                attempt()


def test_an_empty_place_is_checked_too(on_sqlite):
    with factories.acting(on_sqlite) as work:
        places.create(work, NewPlace(name="Cellar", kind=PlaceKind.ROOM))
    check = begun(on_sqlite, "Cellar")
    with factories.acting(on_sqlite) as work:
        shelf_checks.find(work, check, Found(tapes=("1979.1",)))
        closed = shelf_checks.close(work, check, EVERYTHING)
        assert outcomes(closed) == {"1979.1": Outcome.NOT_EXPECTED}
        assert tapes.get(work, "1979.1").place == "Cellar"
