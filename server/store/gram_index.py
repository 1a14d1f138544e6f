"""What every index of grams can do, whichever database keeps it."""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple, Protocol

from sqlalchemy import ColumnElement, FromClause, SQLColumnExpression
from sqlalchemy.orm import Session
from sqlalchemy.types import TypeEngine

from server.store.grams import Grams


class Asked(NamedTuple):
    """A question to an index, as parts of a statement: its rows, their keys, and which of them."""

    rows: FromClause
    key: ColumnElement[int]
    condition: ColumnElement[bool]


class GramIndex(Protocol):
    """What differs by database. `index` names one of the indexes that migrations make."""

    newest_first: bool
    """Whether keys come newest first without a look at all the others."""

    def put(self, session: Session, index: str, rows: Iterable[tuple[int, Grams]]) -> None:
        """Add keys with their grams; none of the keys may be there."""
        ...

    def take_out(self, session: Session, index: str, key: int, grams: Grams) -> None:
        """Remove a key, whose grams must be those that were put in."""
        ...

    @property
    def type(self) -> TypeEngine[Any]:
        """Of what is asked for."""
        ...

    def __hash__(self) -> int: ...

    def asked(self, ways: Sequence[Sequence[Grams]]) -> list[Any]:
        """What to ask for to get the keys that have, of any of the `ways`, all grams of its runs.

        A list as long for as many ways, whatever is in them.
        """
        ...

    def having(self, index: str, asked: Sequence[ColumnElement[Any]]) -> Asked:
        """The keys that have what is `asked`: parameters of a statement, of the `type`."""
        ...

    def holds(self, text: SQLColumnExpression[Any], run: ColumnElement[str]) -> ColumnElement[bool]:
        """The condition that a text holds a run of characters, compared as they are."""
        ...
