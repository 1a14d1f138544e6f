"""The tree of places: entered, described, renamed, and closed once nothing is left in it."""

import re
from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import Final

from sqlalchemy import select, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import changes, events
from server.catalog.errors import Conflict, Invalid
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known
from server.catalog.place_records import get, open_place, place_of
from server.catalog.place_values import (
    LONGEST_PATH,
    NewPlace,
    PlaceChange,
    PlaceKind,
    PlaceRecord,
)
from server.catalog.work import Role, Work
from server.store.places import APART, Place, Whereabouts, names_in, path_key, within
from server.store.sight import lifted
from server.store.tapes import Tape

KIND_WORDS: Final[Mapping[PlaceKind, Collection[str]]] = MappingProxyType(
    {
        PlaceKind.BOX: ("box", "carton", "tin", "bag"),
        PlaceKind.SHELF: ("shelf", "board"),
        PlaceKind.DRAWER: ("drawer",),
        PlaceKind.CUPBOARD: ("cupboard", "cabinet", "rack", "safe"),
        PlaceKind.TABLE: ("table", "bench", "desk"),
        PlaceKind.ROOM: ("room", "loft", "cellar", "porch", "hall", "office", "store", "attic"),
    }
)
"""By which words a name that was only written says what the place is."""


def create(work: Work, new: NewPlace) -> PlaceRecord:
    """Enter a place.

    Raises:
        Invalid: there is no place to put it in, or its written path grows too long.
        Conflict: there is one of that name already, or it would stand in a closed one.
    """
    work.actor.require(Role.VOLUNTEER)
    parent = None if new.parent is None else open_place(work, new.parent, "parent")
    place = _enter(work, parent, new.name, new.kind, new.note)
    return get(work, known(place.id))


def change(
    work: Work, place_id: int, change: PlaceChange, revision: int | None = None
) -> PlaceRecord:
    """Change what is given, if the place is still at `revision`.

    Raises:
        NotFound: there is none of that id.
        NotAllowed: only an archivist renames a place.
        Conflict: somebody else changed it meanwhile, or the name is taken.
        Invalid: its written path grows too long.
    """
    work.actor.require(Role.VOLUNTEER)
    place = place_of(work, place_id, to_change=True)
    changes.require_revision(place, revision, place.path)
    given = {name: value for name, value in change.given().items() if value is not None}
    changed = changes.differing(place, given)
    if "name" in changed:
        work.actor.require(Role.ARCHIVIST)
    changes.apply(work, place, changed, ObjectKind.PLACE, place_id)
    if "name" in changed:
        parent = work.session.get(Place, place.parent_id) if place.parent_id else None
        rewrite_paths(work, place, parent)
    return get(work, place_id)


def close(work: Work, place_id: int) -> PlaceRecord:
    """Take a place out of use, which its record outlives.

    Raises:
        NotFound: there is none of that id.
        Conflict: something is in it, belongs there, or it is closed already.
    """
    work.actor.require(Role.ARCHIVIST)
    place = place_of(work, place_id, to_change=True)
    _require_empty(work, place)
    changes.apply(work, place, {"closed_at": work.now}, ObjectKind.PLACE, place_id)
    return get(work, place_id)


def reopen(work: Work, place_id: int) -> PlaceRecord:
    """Take a closed place into use again.

    Raises:
        NotFound: there is none of that id.
        Conflict: what it stands in is closed.
    """
    work.actor.require(Role.ARCHIVIST)
    place = place_of(work, place_id, to_change=True)
    if place.parent_id is not None:
        open_place(work, place.parent_id, "parent")
    if place.closed_at is not None:
        changes.apply(work, place, {"closed_at": None}, ObjectKind.PLACE, place_id)
    return get(work, place_id)


def written(work: Work, text: str) -> Place:
    """The place of a written path, made where there is none: it says itself what kind it is.

    Raises:
        Invalid: the path is empty or too long.
        Conflict: the place is closed.
    """
    names = names_in(text)
    if not names or len(APART.join(names)) > LONGEST_PATH:
        raise Invalid(
            f"“{text[:60]}” is no place.",
            where="place",
            mend=f"Write it from the outermost in, as room, shelf, box: {LONGEST_PATH} signs fit.",
            fields={"place": "write it as room, shelf, box"},
        )
    place: Place | None = None
    for count in range(1, len(names) + 1):
        key = path_key(APART.join(names[:count]))
        found = work.session.scalar(select(Place).where(col(Place.path_key) == key))
        place = found or _enter(work, place, names[count - 1], kind_of(names[count - 1]), "")
    assert place is not None
    return open_place(work, known(place.id), "place")


def kind_of(name: str) -> PlaceKind:
    """What a name says that the place is."""
    words = re.findall(r"[a-z]+", name.lower())
    for kind, meant in KIND_WORDS.items():
        if any(word in meant for word in words):
            return kind
    return PlaceKind.OTHER


def rewrite_paths(work: Work, place: Place, parent: Place | None) -> None:
    """Write the path of a place anew, and with it those of all that is in it, tapes too.

    Raises:
        Invalid: a path grows too long.
        Conflict: there is a place of that name already.
    """
    before = place.path
    below = work.session.scalars(select(Place).where(within(place.path_key))).all()
    after = place.name if parent is None else f"{parent.path}{APART}{place.name}"
    try:
        with work.session.begin_nested():
            place.parent_id = None if parent is None else parent.id
            for each in below:
                each.path = f"{after}{each.path.removeprefix(before)}"
                _require_short(each.path)
            work.session.flush()
    except IntegrityError:
        raise _name_taken(after) from None
    for each in below:
        lying = select(col(Whereabouts.tape_id)).where(col(Whereabouts.place_id) == each.id)
        work.session.execute(
            update(Tape)
            .where(col(Tape.id).in_(lying), col(Tape.place) != each.path)
            .values(place=each.path, revision=Tape.revision + 1, updated_at=work.now),
            execution_options={"synchronize_session": "fetch"},
        )


def _enter(work: Work, parent: Place | None, name: str, kind: PlaceKind, note: str) -> Place:
    path = name if parent is None else f"{parent.path}{APART}{name}"
    _require_short(path)
    place = Place(
        parent_id=None if parent is None else parent.id,
        kind=kind,
        name=name,
        note=note,
        path=path,
        created_at=work.now,
        updated_at=work.now,
    )
    try:
        with work.session.begin_nested():
            work.session.add(place)
    except IntegrityError:
        raise _name_taken(path) from None
    events.record(work, EventType.CREATION, ObjectKind.PLACE, known(place.id), detail=path)
    return place


def _name_taken(path: str) -> Conflict:
    return Conflict(
        f"There is a place {path} already.",
        where="name",
        mend="Choose another name, or use the place that is there.",
        fields={"name": "a place is called so already"},
    )


def _require_short(path: str) -> None:
    if len(path) > LONGEST_PATH:
        raise Invalid(
            f"Written in full, {path[:40]}… has more than {LONGEST_PATH} signs.",
            where="name",
            mend="Choose a shorter name, or put it into fewer places.",
            fields={"name": f"with what it stands in, at most {LONGEST_PATH} signs fit"},
        )


def _require_empty(work: Work, place: Place) -> None:
    inside = select(col(Place.id)).where(
        col(Place.parent_id) == place.id, col(Place.closed_at).is_(None)
    )
    here = select(col(Whereabouts.tape_id)).where(
        (col(Whereabouts.place_id) == place.id) | (col(Whereabouts.usual_id) == place.id)
    )
    for question, what in ((inside, "a place in it is in use"), (here, "tapes are or belong here")):
        with lifted(work.session):
            found = work.session.scalar(question.limit(1))
        if found is not None:
            raise Conflict(
                f"{place.path} cannot be closed: {what}.",
                where=place.path,
                mend="Give what is here another place first.",
            )
    if place.closed_at is not None:
        raise Conflict(f"{place.path} is closed already.", where=place.path, mend="Look at it.")
