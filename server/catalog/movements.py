"""Where tapes are: put into places, moved with the box that they lie in, missing, found again.

Each move of a tape is kept as one movement and one event; what is written of where it is stands
in its row too, so that lists, facets and the search need not ask. A tape that is lent is moved by
its loan alone.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from sqlalchemy import ColumnElement, func, select, true
from sqlmodel import col

from server.catalog import changes, events, place_records, places
from server.catalog.errors import Conflict, Invalid, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, tape_of
from server.catalog.place_values import (
    RESERVED,
    Missing,
    Move,
    MovementQuery,
    MovementRecord,
    PlaceMove,
    PlaceRecord,
    State,
    Whereabouts,
    lies_in,
)
from server.catalog.tape_values import Page
from server.catalog.work import Role, Work
from server.store import places as store
from server.store.places import Movement, Place, within
from server.store.sight import lifted
from server.store.tapes import Tape


@dataclass(frozen=True, slots=True)
class To:
    """Where a tape goes: into a place, or into none, as `state` says."""

    state: State
    place: Place | None = None

    @property
    def written(self) -> str:
        """What lists tell of it."""
        if self.place is not None:
            return self.place.path
        return self.state if self.state in RESERVED else ""


def of(work: Work, accession_number: str) -> Whereabouts:
    """Where a tape is, and where it belongs.

    Raises:
        NotFound: there is no such tape.
    """
    tape = tape_of(work, accession_number)
    held = work.session.get(store.Whereabouts, tape.id)
    return Whereabouts(
        state=State(held.state) if held else State.UNKNOWN,
        place=place_records.link(work, held.place_id) if held else None,
        usual=place_records.link(work, held.usual_id) if held else None,
        written=tape.place,
    )


def page(work: Work, query: MovementQuery) -> Page[MovementRecord]:
    """One page of movements, the newest first: for those who work here.

    Raises:
        NotFound: there is no such tape or place.
    """
    work.actor.require(Role.VOLUNTEER)
    condition: ColumnElement[bool] = true()
    if query.tape:
        condition &= col(Movement.tape_id) == tape_of(work, query.tape).id
    if query.place is not None:
        inside = place_records.ids_within(work, query.place)
        condition &= col(Movement.from_id).in_(inside) | col(Movement.to_id).in_(inside)
    counted = select(func.count()).select_from(Movement).where(condition)
    rows = work.session.execute(
        select(Movement, col(Tape.accession_number), col(Tape.title), Place)
        .join(Tape, col(Tape.id) == col(Movement.tape_id))
        .outerjoin(Place, col(Place.id) == col(Movement.with_id))
        .where(condition)
        .order_by(col(Movement.id).desc())
        .offset((query.page - 1) * query.page_size)
        .limit(query.page_size)
    )
    told = tuple(_record(*row) for row in rows)
    return Page(told, work.session.scalar(counted) or 0, query.page, query.page_size)


def put(work: Work, move: Move) -> None:
    """Put tapes into a place, each with a movement of its own; all of them, or none.

    Raises:
        NotFound: there is no such tape.
        Invalid: there is no such place.
        Conflict: the place is closed, or a tape is lent.
    """
    work.actor.require(Role.VOLUNTEER)
    to = To(State.PLACED, _place_of(work, move))
    for tape in _tapes(work, move.tapes):
        go(work, tape, to, move.why, usual=move.usual)


def mark_missing(work: Work, missing: Missing) -> None:
    """Say of tapes that they were looked for and not found.

    Raises:
        NotFound: there is no such tape.
        Conflict: one is lent.
    """
    work.actor.require(Role.VOLUNTEER)
    for tape in _tapes(work, missing.tapes):
        go(work, tape, To(State.MISSING), missing.why)


def leave(work: Work, tape: Tape, why: str) -> None:
    """Take a tape out of its place for good: it belongs nowhere any more.

    Raises:
        Conflict: the tape is lent.
    """
    go(work, tape, To(State.UNKNOWN), why)
    _held(work, tape).usual_id = None


def enter(work: Work, tape: Tape, text: str) -> None:
    """Say where a tape is as it is entered in the register, which is logged already.

    Raises:
        Invalid, Conflict: as `write`.
    """
    if text:
        held = _held(work, tape)
        to = where_to(work, text)
        held.state, tape.place = to.state, to.written
        held.place_id = held.usual_id = None if to.place is None else to.place.id
        _add(work, tape, (None, ""), to, "entered", None)


def write(work: Work, tape: Tape, text: str, why: str = "") -> None:
    """Move a tape to where a description says that it is: a path, "missing", or nothing.

    Raises:
        Invalid: it is written as a loan, which it is not.
        Conflict: the place is closed, or the tape is lent.
    """
    work.actor.require(Role.VOLUNTEER)
    go(work, tape, where_to(work, text), why)


def where_to(work: Work, text: str) -> To:
    """Where a text says that a tape goes: a path, "missing", or nothing.

    Raises:
        Invalid, Conflict: as `write`.
    """
    if text.lower() == State.ON_LOAN:
        raise refused("place", "a loan is begun on the page of the tape", "Begin a loan instead.")
    if text.lower() == State.MISSING:
        return To(State.MISSING)
    return To(State.PLACED, places.written(work, text)) if text else To(State.UNKNOWN)


def _held(work: Work, tape: Tape) -> store.Whereabouts:
    """What is kept of where a tape is; made where there is nothing yet."""
    held = work.session.get(store.Whereabouts, tape.id)
    if held is None:
        held = store.Whereabouts(tape_id=known(tape.id), state=State.UNKNOWN)
        work.session.add(held)
    return held


def move_place(
    work: Work, place_id: int, move: PlaceMove, revision: int | None = None
) -> PlaceRecord:
    """Put a place with all that is in it elsewhere: one movement for each tape.

    Raises:
        NotFound: there is none of that id.
        Invalid: there is no place to put it in, or it would stand in itself.
        Conflict: somebody else changed it meanwhile, or a place is closed or of that name there.
    """
    work.actor.require(Role.VOLUNTEER)
    place = place_records.place_of(work, place_id, to_change=True)
    changes.require_revision(place, revision, place.path)
    parent = None if move.parent is None else place_records.open_place(work, move.parent, "parent")
    _require_elsewhere(place, parent)
    before, lying = place.path, _lying_in(work, place)
    places.rewrite_paths(work, place, parent)
    place.revision += 1
    place.updated_at = work.now
    facts = {"before": {"path": before}, "after": {"path": place.path}, "tapes": len(lying)}
    events.record(
        work, EventType.MOVEMENT, ObjectKind.PLACE, place_id, detail=move.why, facts=facts
    )
    for tape, lies, was in lying:
        _keep(work, tape, (lies, was), To(State.PLACED, lies), move.why, place)
    return place_records.get(work, place_id)


def go(
    work: Work,
    tape: Tape,
    to: To,
    why: str,
    *,
    usual: bool = False,
    lent: bool = False,
    corrects: int | None = None,
) -> None:
    """Move one tape, unless it is there already; a tape's first place is where it belongs.

    One that is lent stays so, unless it is its loan that moves it (`lent`).

    Raises:
        Conflict: the tape is lent.
    """
    held = _held(work, tape)
    if held.state == State.ON_LOAN and not lent:
        raise Conflict(
            f"Tape {tape.accession_number} is lent.",
            where=tape.accession_number,
            mend="Take it back first, on the page of its loan.",
        )
    if to.place is not None and (usual or held.usual_id is None):
        held.usual_id = to.place.id
    there = None if held.place_id is None else work.session.get_one(Place, held.place_id)
    if (held.state, there, tape.place) == (to.state, to.place, to.written):
        work.session.flush()
        return
    was = tape.place
    held.state, held.place_id = to.state, None if to.place is None else to.place.id
    tape.place = to.written
    tape.revision += 1
    tape.updated_at = work.now
    _keep(work, tape, (there, was), to, why, None, corrects)


def _keep(
    work: Work,
    tape: Tape,
    before: tuple[Place | None, str],
    to: To,
    why: str,
    box: Place | None,
    corrects: int | None = None,
) -> None:
    """Keep one movement, with its event on the tape; `corrects` is the entry that it undoes."""
    movement, was = _add(work, tape, before, to, why, box), before[1]
    how = "" if box is None else f", with {box.name}"
    events.record(
        work,
        EventType.MOVEMENT,
        ObjectKind.TAPE,
        tape.accession_number,
        outcome=to.state,
        detail=f"from {was or 'an unknown place'} to {to.written or 'an unknown place'}{how}"
        + (f": {why}" if why else ""),
        facts={
            "movement": movement,
            "before": {"place": was},
            "after": {"place": to.written},
            "why": why,
        },
        corrects=corrects,
    )


def _add(
    work: Work,
    tape: Tape,
    before: tuple[Place | None, str],
    to: To,
    why: str,
    box: Place | None,
) -> int:
    place, was = before
    movement = Movement(
        tape_id=known(tape.id),
        moved_at=work.now,
        moved_by_id=work.actor.person_id,
        agent=work.actor.name,
        why=why,
        from_id=None if place is None else place.id,
        from_where=was,
        to_id=None if to.place is None else to.place.id,
        to_where=to.written,
        with_id=None if box is None else box.id,
    )
    work.session.add(movement)
    work.session.flush()
    return known(movement.id)


def _place_of(work: Work, move: Move) -> Place:
    if move.place is not None:
        return place_records.open_place(work, move.place, "place")
    if not move.written or move.written.lower() in RESERVED:
        raise Invalid(
            "No place is given to move to.",
            where="written",
            mend="Write the place as room, shelf, box, or choose one that is offered.",
            fields={"written": "write the place, as room, shelf, box"},
        )
    return places.written(work, move.written)


def _tapes(work: Work, numbers: Collection[str]) -> Iterator[Tape]:
    for number in dict.fromkeys(numbers):
        yield tape_of(work, number, to_change=True)


def _require_elsewhere(place: Place, parent: Place | None) -> None:
    if place.parent_id == (None if parent is None else parent.id):
        raise refused("parent", "it stands there already", "Choose another place.")
    if parent is not None and lies_in(parent.path, place.path):
        raise refused("parent", "a place cannot stand in itself", "Choose another place.")


def _lying_in(work: Work, place: Place) -> list[tuple[Tape, Place, str]]:
    """The tapes in a place at any depth, each with the place that it lies in, as it is called.

    Those too that are closed to whoever moves it: they are in the box all the same.
    """
    asked = (
        select(Tape, Place)
        .join(store.Whereabouts, col(store.Whereabouts.tape_id) == col(Tape.id))
        .join(Place, col(Place.id) == col(store.Whereabouts.place_id))
        .where(within(place.path_key))
        .order_by(col(Tape.accession_key))
    )
    with lifted(work.session):
        return [(tape, lies, tape.place) for tape, lies in work.session.execute(asked)]


def _record(row: Movement, number: str, title: str, box: Place | None) -> MovementRecord:
    return MovementRecord(
        id=known(row.id),
        tape=number,
        tape_title=title,
        at=row.moved_at,
        by=row.agent,
        why=row.why,
        from_where=row.from_where,
        from_place=row.from_id,
        to_where=row.to_where,
        to_place=row.to_id,
        with_place=None if box is None else place_records.link_to(box),
    )
