"""What is said of shelf checks: the list, and one with what is expected and what was found."""

from collections.abc import Collection

from sqlalchemy import ColumnElement, func, select, true
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog import named
from server.catalog.errors import NotFound
from server.catalog.handling import do_not_run
from server.catalog.held import known, may_be_id
from server.catalog.place_records import ids_within, link_to
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
        condition = col(ShelfCheck.place_id).in_(ids_within(work, query.place))
    total = work.session.scalar(select(func.count()).select_from(ShelfCheck).where(condition))
    found = work.session.execute(
        select(ShelfCheck, Place, named.name_of(work))
        .join(Place, col(Place.id) == col(ShelfCheck.place_id))
        .outerjoin(Person, col(Person.id) == col(ShelfCheck.begun_by_id))
        .where(condition)
        .order_by(col(ShelfCheck.id).desc())
        .offset((query.page - 1) * query.page_size)
        .limit(query.page_size)
    ).all()
    counted = _counts(work, [known(check.id) for check, *_ in found])
    rows = tuple(
        _row(check, place, name, counted.get(known(check.id), (0, 0, 0)))
        for check, place, name in found
    )
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
        place=link_to(place),
        inside=tuple(link_to(each) for each in inside),
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


def outcome_of(check: ShelfCheck, item: ShelfCheckItem, held: Whereabouts | None) -> Outcome:
    """What becomes of a tape, were the check closed now; what became of it, once it is.

    `held` is what is kept of where the tape is at present.
    """
    if check.closed_at is not None:
        return Outcome(item.outcome)
    if item.found_id is None:
        is_there = held is not None and held.place_id == item.expected_id
        return Outcome.NOT_FOUND if is_there else Outcome.MOVED_MEANWHILE
    if item.expected_id is None:
        return Outcome.NOT_EXPECTED
    return Outcome.AS_EXPECTED if item.found_id == item.expected_id else Outcome.ELSEWHERE


def _items(work: Work, check: ShelfCheck) -> tuple[CheckItem, ...]:
    expected, found = aliased(Place), aliased(Place)
    rows = work.session.execute(
        select(ShelfCheckItem, Tape, Whereabouts, expected, found, named.name_of(work))
        .join(Tape, col(Tape.id) == col(ShelfCheckItem.tape_id))
        .outerjoin(Whereabouts, col(Whereabouts.tape_id) == col(ShelfCheckItem.tape_id))
        .outerjoin(expected, col(expected.id) == col(ShelfCheckItem.expected_id))
        .outerjoin(found, col(found.id) == col(ShelfCheckItem.found_id))
        .outerjoin(Person, col(Person.id) == col(ShelfCheckItem.found_by_id))
        .where(col(ShelfCheckItem.check_id) == check.id)
        .order_by(col(expected.id).is_(None), col(expected.path_key), col(Tape.accession_key))
    )
    return tuple(
        CheckItem(
            tape=tape.accession_number,
            title=tape.title,
            expected=None if should is None else link_to(should),
            expected_where=item.expected_where,
            found=None if seen is None else link_to(seen),
            at=item.found_at,
            by=(name or COMMAND.name) if item.found_at else "",
            outcome=outcome_of(check, item, held),
            quarantined=Hazard(tape.hazard).quarantines,
            do_not_run=do_not_run(tape),
        )
        for item, tape, held, should, seen, name in rows
    )


def _counts(work: Work, ids: Collection[int]) -> dict[int, tuple[int, int, int]]:
    """Of each of these checks, how many tapes are expected, seen of those, and differ."""
    expected = col(ShelfCheckItem.expected_id).is_not(None)
    seen = col(ShelfCheckItem.found_id).is_not(None)
    differs = col(ShelfCheckItem.outcome).in_([each for each in Outcome if each.differs])
    rows = work.session.execute(
        select(
            col(ShelfCheckItem.check_id),
            func.count().filter(expected),
            func.count().filter(expected, seen),
            func.count().filter(differs),
        )
        .where(col(ShelfCheckItem.check_id).in_(ids))
        .group_by(col(ShelfCheckItem.check_id))
    )
    return {check_id: (in_all, found, differing) for check_id, in_all, found, differing in rows}


def _row(
    check: ShelfCheck, place: Place, begun_by: str | None, counted: tuple[int, int, int]
) -> CheckRow:
    in_all, found, differing = counted
    return CheckRow(
        id=known(check.id),
        place=link_to(place),
        begun=check.begun_at,
        begun_by=begun_by or COMMAND.name,
        closed=check.closed_at,
        expected=in_all,
        found=found,
        differing=differing if check.closed_at else None,
    )
