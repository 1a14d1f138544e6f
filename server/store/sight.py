"""What a transaction may see: rows of what is closed to it are left out of whatever it selects.

Every SELECT that names a table passes here before it is run, wherever it was written, in its
subqueries too. What a row belongs to is told by its foreign keys, so that a new table which points
at a tape, an image or anything of theirs is closed with it, without a word here. Two things pass
unseen and must not be used on rows that can be closed: tables asked as `Table.c.column` instead
of by their class, and SQL written as text.

As long as nothing is closed to whoever asks, all of this comes to one short question.
"""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from typing import Any, Final, TypeAlias

from sqlalchemy import (
    ColumnElement,
    CompoundSelect,
    Connection,
    Engine,
    ForeignKey,
    FromClause,
    Join,
    Select,
    String,
    Table,
    and_,
    cast,
    event,
    literal_column,
    not_,
    or_,
    select,
)
from sqlalchemy.orm import Session, with_loader_criteria
from sqlalchemy.orm.interfaces import ORMOption
from sqlalchemy.sql import visitors

from server.store.row import Row
from server.store.tables import METADATA, Event, RecordText

_NAME: Final = "feedhole_sight"
_Asked: TypeAlias = Select[*tuple[Any, ...]] | CompoundSelect[*tuple[Any, ...]]

_PLUGIN: Final = "compile_state_plugin"

_ROOTS: Final = ("tape", "program")
"""Tables of which each row says itself who may see it."""

_REMAINS: Final = frozenset({("tape", "program_id")})
"""References that close nothing: a tape is shown without the program that it carries."""

_KEYS: Final = {
    "tape": ("number_given", "number", "tape_id"),
    "image": ("image", "sha256", "id"),
    "program": ("program", "id", "id"),
    "condition-report": ("condition_report", "id", "id"),
    "punching": ("punching", "id", "id"),
}
"""By what an event names its object: the table and column of that, and of what is closed."""

_PARENTS: Final = {"condition-report": "condition_report"}


class Sight:
    """How open a row must be to be seen: `levels`, of the column `access`; None for all rows.

    It is that of one unit of work. Whether anything is closed to it is asked once, when it is
    first needed: only somebody who sees all can close anything.
    """

    def __init__(self, levels: tuple[str, ...] | None) -> None:
        self.levels = levels
        self.is_lifted = False
        self._is_narrow: bool | None = None

    def is_narrow(self, connection: Connection) -> bool:
        """Whether anything is closed to this sight at all."""
        if self.levels is None or self.is_lifted:
            return False
        if self._is_narrow is None:
            asked = connection.exec_driver_sql(_anything_closed(self.levels))
            self._is_narrow = asked.first() is not None
        return self._is_narrow


def limited(engine: Engine, levels: tuple[str, ...] | None) -> Engine:
    """The same engine and pool, for a unit of work that sees rows of these levels only."""
    return engine.execution_options(**{_NAME: Sight(levels)})


def levels_of(session: Session) -> tuple[str, ...] | None:
    """The levels that a session sees at this moment; None for all."""
    sight = _sight(session)
    return None if sight is None or sight.is_lifted else sight.levels


@contextmanager
def lifted(session: Session) -> Iterator[None]:
    """See all rows for a while: for what must hold of the whole library, whoever acts.

    Nothing that is read meanwhile may be told to anybody.
    """
    sight = _sight(session)
    if sight is None or sight.is_lifted:
        yield
        return
    sight.is_lifted = True
    try:
        yield
    finally:
        sight.is_lifted = False


def guard(engine: Engine) -> None:
    """Let every SELECT on connections of this engine pass here."""

    @event.listens_for(engine, "before_execute", retval=True)
    def narrow(
        connection: Connection, clause: Any, many: Any, params: Any, options: Any
    ) -> tuple[Any, Any, Any]:
        del options
        sight: Sight | None = connection.get_execution_options().get(_NAME)
        if (
            sight is not None
            and isinstance(clause, Select | CompoundSelect)
            and sight.is_narrow(connection)
        ):
            assert sight.levels is not None
            clause = _narrowed(clause, sight.levels)
        return clause, many, params


def _narrowed(clause: _Asked, levels: tuple[str, ...]) -> _Asked:
    """The same question, with the conditions of the tables that it names anywhere.

    Raises:
        RuntimeError: a part of it names no class, and would be left as it is.
    """
    criteria = _criteria(levels)
    named = set()
    for part in visitors.iterate(clause):
        if isinstance(part, Table):
            named.add(part.name)
        elif isinstance(part, Select) and part._propagate_attrs.get(_PLUGIN) != "orm":  # noqa: SLF001 - no other way to tell
            asked = set(_asked_here(part.get_final_froms()))
            if asked & criteria.keys():
                raise RuntimeError(f"{sorted(asked)} are asked without their classes: {part}")
    return clause.options(*(criteria[name] for name in sorted(named & criteria.keys())))


def _asked_here(froms: Iterable[FromClause]) -> Iterator[str]:
    """The tables that a SELECT names itself, not those of its parts."""
    for each in froms:
        if isinstance(each, Join):
            yield from _asked_here((each.left, each.right))
        elif isinstance(each, Table):
            yield each.name


def _sight(session: Session) -> Sight | None:
    found: Sight | None = session.get_bind().get_execution_options().get(_NAME)
    return found


@cache
def _anything_closed(levels: tuple[str, ...]) -> str:
    # The first condition is that of the index of what is closed, which is empty or short.
    seen = ", ".join(f"'{level}'" for level in levels)
    return " UNION ALL ".join(
        f"SELECT 1 FROM {table} WHERE access <> 'public' AND access NOT IN ({seen})"  # noqa: S608 - ours
        for table in _ROOTS
    )


@cache
def _criteria(levels: tuple[str, ...]) -> Mapping[str, ORMOption]:
    """What a row must meet to be seen, by the name of its table."""
    return {
        made.__table__.name: with_loader_criteria(made, not_(closed), include_aliases=True)
        for made in _classes()
        if (closed := _hidden(made.__table__, levels)) is not None
    }


def _classes() -> list[Any]:
    return [made for made in Row.__subclasses__() if hasattr(made, "__table__")]


def _hidden(table: Table, levels: tuple[str, ...]) -> ColumnElement[bool] | None:
    """Whether a row is closed, however it tells; None if none of the table ever is."""
    special = _special(table, levels)
    return _is_closed(table, levels) if special is None else special


def _special(table: Table, levels: tuple[str, ...]) -> ColumnElement[bool] | None:
    """The condition of tables that name what they are about in another way than by reference."""
    if table is RecordText.__table__:  # type: ignore[attr-defined]  # SQLModel tells no type of it
        return or_(
            *(
                and_(table.c.kind == kind, table.c.object_id.in_(_closed_keys(kind, levels)))
                for kind in _ROOTS
            )
        )
    if table is Event.__table__:  # type: ignore[attr-defined]  # SQLModel tells no type of it
        return or_(
            *(
                and_(table.c.object_kind == kind, table.c.object_key.in_(_named(kind, levels)))
                for kind in _KEYS
            )
        )
    return None


def _named(kind: str, levels: tuple[str, ...]) -> Select[str]:
    """What events call those objects of a kind that are closed."""
    name, called, by = _KEYS[kind]
    table = METADATA.tables[name]
    closed = _closed_keys(_PARENTS.get(kind, kind), levels)
    return _apart(select(cast(table.c[called], String)).where(table.c[by].in_(closed)))


def _is_closed(table: Table, levels: tuple[str, ...]) -> ColumnElement[bool] | None:
    """Whether a row is closed: by itself, or by anything that it points at; None if it never is."""
    if table.name in _ROOTS:
        return table.c.access.not_in(levels)
    if table.name == "image":
        return table.c.id.in_(_closed_keys("image", levels))
    ways = [
        and_(key.parent.is_not(None), key.parent.in_(closed))
        for key in _references(table)
        if (closed := _pointed_at(key, levels)) is not None
    ]
    return or_(*ways) if ways else None


def _references(table: Table) -> list[ForeignKey]:
    return sorted(
        (
            key
            for key in table.foreign_keys
            if key.column.table is not table and (table.name, key.parent.name) not in _REMAINS
        ),
        key=lambda key: key.parent.name,
    )


def _pointed_at(key: ForeignKey, levels: tuple[str, ...]) -> Select[Any] | None:
    """What a foreign key may hold that is closed; None if nothing there ever is."""
    parent: Table = key.column.table
    if parent.name in (*_ROOTS, "image"):
        closed = _closed_keys(parent.name, levels)
        if key.column.primary_key:
            return closed
        (own,) = parent.primary_key.columns
        return _apart(select(key.column).where(own.in_(closed)))
    condition = _is_closed(parent, levels)
    return None if condition is None else _apart(select(key.column).where(condition))


def _closed_keys(name: str, levels: tuple[str, ...]) -> Select[int]:
    """The ids of what is closed."""
    if name == "image":
        closed = METADATA.tables["closed_image"]
        return _apart(select(closed.c.image_id).where(closed.c.access.not_in(levels)))
    table = METADATA.tables[name]
    if name in _ROOTS:
        # The first condition, in the words of the index, has it used.
        is_shut: ColumnElement[bool] = literal_column(f"{name}.access <> 'public'")
        return _apart(select(table.c.id).where(is_shut, table.c.access.not_in(levels)))
    condition = _is_closed(table, levels)
    assert condition is not None
    return _apart(select(table.c.id).where(condition))


def _apart(found: Select[Any]) -> Select[Any]:
    """A select that has nothing to do with the tables of the one it stands in."""
    return found.correlate(None)
