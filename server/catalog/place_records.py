"""What is said of places: the tree, one place with what is in it, and places for links."""

from collections.abc import Collection
from typing import Final

from sqlalchemy import ColumnElement, Select, func, select, true
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog.errors import Conflict, Invalid, NotFound
from server.catalog.held import known, may_be_id
from server.catalog.place_values import PlaceKind, PlaceLink, PlaceQuery, PlaceRecord, PlaceRow
from server.catalog.tape_values import Page
from server.catalog.work import Role, Work
from server.store.places import APART, Place, Whereabouts, names_in, path_key, within

OFFERED: Final = 500
"""Places that a field offers while one types; any other is found by its whole path too."""


def page(work: Work, query: PlaceQuery) -> Page[PlaceRow]:
    """One page of the places, each followed by what is in it.

    Raises:
        NotSignedIn: where things are kept is told to those who work here.
    """
    work.actor.require(Role.VOLUNTEER)
    condition: ColumnElement[bool] = true() if query.closed else col(Place.closed_at).is_(None)
    for word in query.q.split():
        condition &= func.lower(col(Place.path)).contains(word.lower(), autoescape=True)
    total = work.session.scalar(select(func.count()).select_from(Place).where(condition)) or 0
    found = work.session.scalars(
        select(Place)
        .where(condition)
        .order_by(col(Place.path_key))
        .offset((query.page - 1) * query.page_size)
        .limit(query.page_size)
    ).all()
    return Page(_rows(work, found), total, query.page, query.page_size)


def get(work: Work, place_id: int) -> PlaceRecord:
    """A place, and what is in it.

    Raises:
        NotSignedIn: where things are kept is told to those who work here.
        NotFound: there is none of that id.
    """
    work.actor.require(Role.VOLUNTEER)
    place = place_of(work, place_id)
    (row,) = _rows(work, [place])
    inside = work.session.scalars(
        select(Place).where(col(Place.parent_id) == place.id).order_by(col(Place.path_key))
    ).all()
    return PlaceRecord(
        id=row.id,
        kind=row.kind,
        name=row.name,
        path=row.path,
        note=row.note,
        on=_standing_on(work, place),
        inside=_rows(work, inside),
        here=row.here,
        within=row.within,
        closed=place.closed_at,
        revision=place.revision,
    )


def offered(work: Work) -> tuple[str, ...]:
    """The written paths that a form offers."""
    paths = select(col(Place.path)).where(col(Place.closed_at).is_(None))
    return tuple(work.session.scalars(paths.order_by(col(Place.path_key)).limit(OFFERED)))


def at_path(work: Work, text: str) -> int | None:
    """The place that is written so, if there is one."""
    return work.session.scalar(select(col(Place.id)).where(col(Place.path_key) == path_key(text)))


def place_of(work: Work, place_id: int, *, to_change: bool = False) -> Place:
    """A place; one that is to be changed is kept from everybody else until the work is done.

    Raises:
        NotFound: there is none of that id.
    """
    found = None
    if may_be_id(place_id):
        found = work.session.get(Place, place_id, with_for_update=to_change or None)
    if found is None:
        raise NotFound(
            f"There is no place {place_id}.",
            where=str(place_id),
            mend="Look for it in the list of places.",
        )
    return found


def open_place(work: Work, place_id: int, field: str) -> Place:
    """A place that is in use, named in an input's `field`.

    Raises:
        Invalid: there is none of that id.
        Conflict: it is closed.
    """
    try:
        place = place_of(work, place_id)
    except NotFound as missing:
        raise Invalid(
            missing.what, where=field, mend=missing.mend, fields={field: "there is no such place"}
        ) from None
    if place.closed_at is not None:
        raise Conflict(
            f"{place.path} is closed.",
            where=field,
            mend="Choose another place, or have an archivist open it again.",
            fields={field: "this place is closed"},
        )
    return place


def ids_within(work: Work, place_id: int) -> Select[int | None]:
    """The ids of a place and of all that is in it, for a question to the database.

    Raises:
        NotFound: there is none of that id.
    """
    inner = aliased(Place)
    return select(col(inner.id)).where(within(place_of(work, place_id).path_key, inner))


def link(work: Work, place_id: int | None) -> PlaceLink | None:
    """A place by its id, for a link to it; None where there is none."""
    place = None if place_id is None else work.session.get(Place, place_id)
    return None if place is None else link_to(place)


def link_to(place: Place) -> PlaceLink:
    """A place for a link to it."""
    return PlaceLink(known(place.id), place.name, place.path)


def _standing_on(work: Work, place: Place) -> tuple[PlaceLink, ...]:
    names = names_in(place.path)
    keys = [path_key(APART.join(names[:count])) for count in range(1, len(names))]
    above = work.session.scalars(
        select(Place).where(col(Place.path_key).in_(keys)).order_by(col(Place.path_key))
    )
    return tuple(link_to(each) for each in above)


def _rows(work: Work, found: Collection[Place]) -> tuple[PlaceRow, ...]:
    counted = _counts(work, [known(each.id) for each in found])
    return tuple(
        PlaceRow(
            id=known(each.id),
            parent=each.parent_id,
            kind=PlaceKind(each.kind),
            name=each.name,
            path=each.path,
            note=each.note,
            depth=len(names_in(each.path)) - 1,
            here=counted.get(known(each.id), (0, 0))[0],
            within=counted.get(known(each.id), (0, 0))[1],
            closed=each.closed_at is not None,
        )
        for each in found
    )


def _counts(work: Work, ids: Collection[int]) -> dict[int, tuple[int, int]]:
    """How many tapes are in each of these places itself, and how many at any depth."""
    outer, inner = aliased(Place), aliased(Place)
    rows = work.session.execute(
        select(
            col(outer.id),
            func.count().filter(col(inner.id) == col(outer.id)),
            func.count(),
        )
        .select_from(outer)
        .join(inner, within(outer.path_key, inner))
        .join(Whereabouts, col(Whereabouts.place_id) == col(inner.id))
        .where(col(outer.id).in_(ids))
        .group_by(col(outer.id))
    )
    return {known(place_id): (here, in_all) for place_id, here, in_all in rows}
