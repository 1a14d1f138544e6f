"""Shelf checks: begun at a place, ticked along the shelf, closed with a report of what differs."""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import changes, events, movements
from server.catalog.errors import Conflict, Invalid, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, tape_of
from server.catalog.movements import To
from server.catalog.place_records import open_place, place_of
from server.catalog.place_values import State, lies_in
from server.catalog.shelf_check_records import check_of, get, outcome_of
from server.catalog.shelf_check_values import MOST, CheckRecord, Closing, Found, Outcome
from server.catalog.work import Role, Work
from server.store.places import Place, Whereabouts, within
from server.store.shelf_checks import ShelfCheck, ShelfCheckItem
from server.store.tapes import Tape


def begin(work: Work, place_id: int) -> CheckRecord:
    """Begin to look through a place and all that is in it: what lies there now is expected.

    Raises:
        NotFound: there is no such place.
        Conflict: it is closed, or looked through already.
        Invalid: more lies in it than one check may hold.
    """
    work.actor.require(Role.VOLUNTEER)
    place = open_place(work, known(place_of(work, place_id).id), "place")
    lying = (
        select(Tape, Whereabouts)
        .join(Whereabouts, col(Whereabouts.tape_id) == col(Tape.id))
        .join(Place, col(Place.id) == col(Whereabouts.place_id))
        .where(within(place.path_key))
    )
    counted = work.session.scalar(select(func.count()).select_from(lying.subquery())) or 0
    if counted > MOST:
        raise Invalid(
            f"{counted:,} tapes lie in {place.path}.",
            where=place.path,
            mend=f"Check what is in it one by one: at most {MOST:,} tapes at a time.",
        )
    check = ShelfCheck(
        place_id=place_id,
        begun_at=work.now,
        begun_by_id=work.actor.person_id,
        updated_at=work.now,
    )
    try:
        with work.session.begin_nested():
            work.session.add(check)
    except IntegrityError:
        raise Conflict(
            f"{place.path} is looked through already.",
            where=place.path,
            mend="Go on with the check that is open.",
        ) from None
    work.session.add_all(
        ShelfCheckItem(
            check_id=known(check.id),
            tape_id=known(tape.id),
            expected_id=there.place_id,
            expected_where=tape.place,
        )
        for tape, there in work.session.execute(lying)
    )
    return _logged(work, check, "begun", {"expected": counted})


def find(work: Work, check_id: int, found: Found) -> CheckRecord:
    """Note tapes that were seen, in the place given, else where each was expected.

    Raises:
        NotFound: there is no such check, or a number is of no tape.
        Conflict: the check is closed.
        Invalid: the place is not one of those looked through, or is needed and not given.
    """
    check = _open(work, check_id)
    place = _looked_through(work, check, found.place)
    for number in dict.fromkeys(found.tapes):
        tape = tape_of(work, number)
        item = work.session.get(ShelfCheckItem, (check_id, tape.id))
        if item is None:
            item = ShelfCheckItem(
                check_id=check_id, tape_id=known(tape.id), expected_where=tape.place
            )
            work.session.add(item)
        in_place = place or item.expected_id or check.place_id
        item.found_id, item.found_at, item.found_by_id = in_place, work.now, work.actor.person_id
    return _kept(work, check)


def take_back(work: Work, check_id: int, numbers: Sequence[str]) -> CheckRecord:
    """Take back that tapes were seen; one that was not expected leaves the check.

    Raises:
        NotFound: there is no such check, or a number is of no tape.
        Conflict: the check is closed.
    """
    check = _open(work, check_id)
    for number in dict.fromkeys(numbers):
        item = work.session.get(ShelfCheckItem, (check_id, tape_of(work, number).id))
        if item is not None and item.expected_id is None:
            work.session.delete(item)
        elif item is not None:
            item.found_id = item.found_at = item.found_by_id = None
    return _kept(work, check)


def close(work: Work, check_id: int, closing: Closing, revision: int | None = None) -> CheckRecord:
    """Close a check with a report of what differs, and enter that as moves where it is wished.

    Raises:
        NotFound: there is no such check.
        Conflict: it is closed, or somebody went on with it meanwhile.
    """
    check = _open(work, check_id)
    changes.require_revision(check, revision, f"Shelf check {check_id}")
    items = work.session.execute(
        select(ShelfCheckItem, Tape, Whereabouts)
        .join(Tape, col(Tape.id) == col(ShelfCheckItem.tape_id))
        .outerjoin(Whereabouts, col(Whereabouts.tape_id) == col(ShelfCheckItem.tape_id))
        .where(col(ShelfCheckItem.check_id) == check_id)
        .order_by(col(Tape.accession_key))
    ).all()
    told: dict[str, list[str]] = {}
    for item, tape, held in items:
        outcome = outcome_of(check, item, held)
        item.outcome = outcome
        _enter(work, check, item, tape, closing)
        if outcome.differs:
            told.setdefault(outcome, []).append(tape.accession_number)
    check.closed_at, check.closed_by_id = work.now, work.actor.person_id
    check.note = closing.note
    check.revision += 1
    check.updated_at = work.now
    work.session.flush()
    return _logged(work, check, "closed", {"looked through": len(items), "differing": told})


def _enter(
    work: Work, check: ShelfCheck, item: ShelfCheckItem, tape: Tape, closing: Closing
) -> None:
    """Move the tape to where it was found, where that is wished; one that is lent stays so."""
    why = f"shelf check {check.id}"
    if item.outcome == Outcome.NOT_FOUND and closing.mark_missing:
        movements.go(work, tape, To(State.MISSING), why)
    elif item.outcome in (Outcome.ELSEWHERE, Outcome.NOT_EXPECTED) and closing.move_found:
        held = work.session.get(Whereabouts, tape.id)
        if held is None or held.state != State.ON_LOAN:
            place = work.session.get_one(Place, item.found_id)
            movements.go(work, tape, To(State.PLACED, place), why)


def _looked_through(work: Work, check: ShelfCheck, place_id: int | None) -> int | None:
    if place_id is None:
        return None
    place = open_place(work, place_id, "place")
    if not lies_in(place.path, work.session.get_one(Place, check.place_id).path):
        raise refused("place", "this place is not looked through", "Choose one of those that are.")
    return place_id


def _open(work: Work, check_id: int) -> ShelfCheck:
    work.actor.require(Role.VOLUNTEER)
    check = check_of(work, check_id)
    work.session.refresh(check, with_for_update=True)
    if check.closed_at is not None:
        raise Conflict(
            f"Shelf check {check_id} is closed.",
            where=f"shelf check {check_id}",
            mend="Begin another; what was found stays as it is.",
        )
    return check


def _kept(work: Work, check: ShelfCheck) -> CheckRecord:
    check.revision += 1
    check.updated_at = work.now
    work.session.flush()
    return get(work, known(check.id))


def _logged(work: Work, check: ShelfCheck, outcome: str, facts: dict[str, object]) -> CheckRecord:
    work.session.flush()
    key = known(check.id)
    place = work.session.get_one(Place, check.place_id)
    for kind, of in ((ObjectKind.SHELF_CHECK, key), (ObjectKind.PLACE, known(place.id))):
        events.record(
            work,
            EventType.SHELF_CHECK,
            kind,
            of,
            outcome=outcome,
            detail=place.path,
            facts={"check": key, **facts},
        )
    return get(work, key)
