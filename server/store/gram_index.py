"""What every index of grams can do, whichever database keeps it."""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple, Protocol

from sqlalchemy import ColumnElement, FromClause, SQLColumnExpression
from sqlalchemy.orm import Session

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

    def having(self, index: str, ways: Sequence[Sequence[Grams]]) -> Asked:
        """The keys that have, of any of the `ways`, all the grams of all its runs."""
        ...

    def holds(self, text: SQLColumnExpression[Any], run: str) -> ColumnElement[bool]:
        """The condition that a text holds a run of characters, compared as they are."""
        ...
