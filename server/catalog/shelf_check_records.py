"""What is said of shelf checks: the list, and one with what is expected and what was found."""

from sqlalchemy import ColumnElement, func, select, true
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog import named
from server.catalog.errors import NotFound
from server.catalog.handling import do_not_run
from server.catalog.held import known, may_be_id
from server.catalog.place_records import link, place_of
from server.catalog.place_values import PlaceLink
from server.catalog.shelf_check_values import (
    CheckItem,
    CheckQuery,
    CheckRecord,
    CheckRow,
    Outcome,
)
from server.catalog.tape_values import Page
from server.catalog.vocabulary import Hazard
from server.catalog.work import COMMAND, Role, Work
from server.store.people import Person
from server.store.places import Place, Whereabouts, within
from server.store.shelf_checks import ShelfCheck, ShelfCheckItem
from server.store.tapes import Tape


def page(work: Work, query: CheckQuery) -> Page[CheckRow]:
    """One page of checks, the newest first: of all places, or of one and what is in it.

    Raises:
        NotSignedIn: they are told to those who work here.
        NotFound: there is no such place.
    """
    work.actor.require(Role.VOLUNTEER)
    condition: ColumnElement[bool] = true()
    if query.place is not None:
        inside = select(col(Place.id)).where(within(place_of(work, query.place).path_key))
        condition = col(ShelfCheck.place_id).in_(inside)
    total = work.session.scalar(select(func.count()).select_from(ShelfCheck).where(condition))
    found = work.session.scalars(
        select(ShelfCheck)
        .where(condition)
        .order_by(col(ShelfCheck.id).desc())
        .offset((query.page - 1) * query.page_size)
        .limit(query.page_size)
    )
    rows = tuple(_row(work, check) for check in found)
    return Page(rows, total or 0, query.page, query.page_size)


def get(work: Work, check_id: int) -> CheckRecord:
    """A check with all of its tapes, box after box.

    Raises:
        NotSignedIn: they are told to those who work here.
        NotFound: there is none of that id.
    """
    work.actor.require(Role.VOLUNTEER)
    check = check_of(work, check_id)
    place = work.session.get_one(Place, check.place_id)
    inside = work.session.scalars(
        select(Place)
        .where(within(place.path_key), col(Place.closed_at).is_(None))
        .order_by(col(Place.path_key))
    )
    return CheckRecord(
        id=check_id,
        place=_link(place),
        inside=tuple(_link(each) for each in inside),
        begun=check.begun_at,
        begun_by=named.told_of(work, check.begun_by_id),
        closed=check.closed_at,
        closed_by=named.told_of(work, check.closed_by_id) if check.closed_at else None,
        note=check.note,
        items=_items(work, check),
        revision=check.revision,
    )


def check_of(work: Work, check_id: int) -> ShelfCheck:
    """A check.

    Raises:
        NotFound: there is none of that id.
    """
    found = work.session.get(ShelfCheck, check_id) if may_be_id(check_id) else None
    if found is None:
        raise NotFound(
            f"There is no shelf check {check_id}.",
            where=str(check_id),
            mend="Look for it on the page of the place.",
        )
    return found


def open_at(work: Work, place_id: int) -> int | None:
    """The check that goes on at a place itself, if one does."""
    return work.session.scalar(
        select(col(ShelfCheck.id)).where(
            col(ShelfCheck.place_id) == place_id, col(ShelfCheck.closed_at).is_(None)
        )
    )


def outcome_of(work: Work, check: ShelfCheck, item: ShelfCheckItem) -> Outcome:
    """What becomes of a tape, were the check closed now; what became of it, once it is."""
    if check.closed_at is not None:
        return Outcome(item.outcome)
    if item.found_id is None:
        held = work.session.get(Whereabouts, item.tape_id)
        is_there = held is not None and held.place_id == item.expected_id
        return Outcome.NOT_FOUND if is_there else Outcome.MOVED_MEANWHILE
    if item.expected_id is None:
        return Outcome.NOT_EXPECTED
    return Outcome.AS_EXPECTED if item.found_id == item.expected_id else Outcome.ELSEWHERE


def _items(work: Work, check: ShelfCheck) -> tuple[CheckItem, ...]:
    expected = aliased(Place)
    rows = work.session.execute(
        select(ShelfCheckItem, Tape, func.coalesce(col(Person.display_name), COMMAND.name))
        .join(Tape, col(Tape.id) == col(ShelfCheckItem.tape_id))
        .outerjoin(expected, col(expected.id) == col(ShelfCheckItem.expected_id))
        .outerjoin(Person, col(Person.id) == col(ShelfCheckItem.found_by_id))
        .where(col(ShelfCheckItem.check_id) == check.id)
        .order_by(col(expected.id).is_(None), col(expected.path_key), col(Tape.accession_key))
    )
    return tuple(
        CheckItem(
            tape=tape.accession_number,
            title=tape.title,
            expected=link(work, item.expected_id),
            expected_where=item.expected_where,
            found=link(work, item.found_id),
            at=item.found_at,
            by=name if item.found_at else "",
            outcome=outcome_of(work, check, item),
            quarantined=Hazard(tape.hazard).quarantines,
            do_not_run=do_not_run(tape),
        )
        for item, tape, name in rows
    )


def _row(work: Work, check: ShelfCheck) -> CheckRow:
    expected = col(ShelfCheckItem.expected_id).is_not(None)
    seen = col(ShelfCheckItem.found_id).is_not(None)
    differs = col(ShelfCheckItem.outcome).in_([each for each in Outcome if each.differs])
    counted = select(
        func.count().filter(expected),
        func.count().filter(expected, seen),
        func.count().filter(differs),
    ).where(col(ShelfCheckItem.check_id) == check.id)
    in_all, found, differing = work.session.execute(counted).one()
    return CheckRow(
        id=known(check.id),
        place=_link(work.session.get_one(Place, check.place_id)),
        begun=check.begun_at,
        begun_by=named.told_of(work, check.begun_by_id),
        closed=check.closed_at,
        expected=in_all,
        found=found,
        differing=differing if check.closed_at else None,
    )


def _link(place: Place) -> PlaceLink:
    return PlaceLink(known(place.id), place.name, place.path)
