"""Sample rows of places, loans, requests and shelf checks."""

from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from server.store.tables import (
    Loan,
    Movement,
    Place,
    ShelfCheck,
    ShelfCheckItem,
    TapeRequest,
    Whereabouts,
    WorkItem,
)


def add_places(session: Session, tape_id: int, now: datetime) -> None:
    """A box on a shelf, and a tape that is missing from it."""
    named: dict[str, Any] = {"created_at": now, "updated_at": now}
    shelf = Place(kind="shelf", name="Shelf 1", path="Shelf 1", **named)
    session.add(shelf)
    session.flush()
    box = Place(kind="box", name="Box 2", path="Shelf 1, Box 2", parent_id=shelf.id, **named)
    session.add(box)
    session.flush()
    moved = Movement(tape_id=tape_id, moved_at=now, agent="Ada", from_id=box.id, to_where="missing")
    session.add_all((Whereabouts(tape_id=tape_id, usual_id=box.id, state="missing"), moved))
    assert shelf.id is not None
    check = ShelfCheck(place_id=shelf.id, begun_at=now, updated_at=now)
    session.add(check)
    session.flush()
    assert check.id is not None
    session.add(ShelfCheckItem(check_id=check.id, tape_id=tape_id, expected_id=box.id))
    session.flush()


def add_loan(session: Session, tape_id: int, person_id: int, now: datetime) -> None:
    """A loan that is proposed for what somebody wants, who has it on the own list."""
    day = date(2026, 12, 1)
    wanted = TapeRequest(
        tape_id=tape_id, wanted_on=day, status="open", asked_at=now, updated_at=now
    )
    session.add(wanted)
    session.flush()
    loan = Loan(
        tape_id=tape_id,
        request_id=wanted.id,
        status="proposed",
        borrower="The museum across the river",
        due_on=day,
        proposed_at=now,
        updated_at=now,
    )
    item = WorkItem(person_id=person_id, queue="requested", request_id=wanted.id, put_on_at=now)
    session.add_all((loan, item))
    session.flush()
