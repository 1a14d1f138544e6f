"""Where tapes are: places in a tree, what lies where, and every move."""

from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, and_, event, or_
from sqlmodel import Field, col

from server.store.row import BYTEWISE, Row, UtcDateTime
from server.store.tapes import accession_key

APART: Final = ", "
"""What stands between the names of places in a written path."""

_BELOW, _AFTER = "\x1f", "\x20"
"""What stands between names in a key, and the sign after it: no name holds a control character."""


def names_in(path: str) -> tuple[str, ...]:
    """The names in a written path, the outermost first; several spaces are one."""
    return tuple(name for part in path.split(",") if (name := " ".join(part.split())))


def path_key(path: str) -> str:
    """What a path is found and sorted by: in lower case, numbers as people count, parents first."""
    return _BELOW.join(accession_key(name) for name in names_in(path))


def within(key: Any, place: Any = None) -> ColumnElement[bool]:
    """The condition that a `place` is the one of that key, or lies in it at any depth.

    `place` is the table where nothing is given, or an alias of it; the key may be a column.
    """
    column = col((place or Place).path_key)
    found: ColumnElement[bool] = and_(
        column >= key, column < key + _AFTER, or_(column == key, column >= key + _BELOW)
    )
    return found


class Place(Row, table=True):
    """A room, a shelf in it, a box on that: `path` is its name behind those of what it stands in.

    `path_key` is filled in here, from the path.
    """

    __tablename__ = "place"

    id: int | None = Field(default=None, primary_key=True)
    parent_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    kind: str
    name: str
    note: str = ""
    path: str
    path_key: str = Field(default="", sa_type=BYTEWISE, unique=True)
    closed_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    created_at: datetime = Field(sa_type=UtcDateTime)
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1


class Whereabouts(Row, table=True):
    """Where a tape is now, and where it belongs.

    `place_id` is set while `state` is "placed" and only then. What is written of it stands in
    `tape.place` too, for lists, facets and the search.
    """

    __tablename__ = "whereabouts"

    tape_id: int = Field(
        foreign_key="tape.id", primary_key=True, sa_column_kwargs={"autoincrement": False}
    )
    place_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    usual_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    state: str = Field(index=True)


class Movement(Row, table=True):
    """One move of one tape, written once: `from_where` and `to_where` say it as it was called then.

    `with_id` names the place that was moved with all that lay in it.
    """

    __tablename__ = "movement"

    id: int | None = Field(default=None, primary_key=True)
    tape_id: int = Field(foreign_key="tape.id", index=True)
    moved_at: datetime = Field(sa_type=UtcDateTime)
    moved_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    agent: str
    why: str = ""
    from_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    from_where: str = ""
    to_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    to_where: str = ""
    with_id: int | None = Field(default=None, foreign_key="place.id", index=True)


@event.listens_for(Place, "before_insert")
@event.listens_for(Place, "before_update")
def _fill_key(mapper: Any, connection: Any, place: Place) -> None:
    del mapper, connection
    place.path_key = path_key(place.path)
