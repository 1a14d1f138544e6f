"""The index of grams on PostgreSQL: arrays of numbers under a general inverted index (GIN)."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, Integer, SQLColumnExpression, column, func, or_, table
from sqlalchemy import text as sql
from sqlalchemy.dialects.postgresql import ARRAY
from sqlalchemy.orm import Session

from server.store.gram_index import Asked
from server.store.grams import Grams


class PostgresGrams:
    """The index, in PostgreSQL's words."""

    newest_first = False
    type = ARRAY(Integer)

    def put(self, session: Session, index: str, rows: Iterable[tuple[int, Grams]]) -> None:
        """Add keys with their grams."""
        add = sql(f"INSERT INTO {index} (key, grams) VALUES (:key, :grams)")  # noqa: S608 - ours
        given = [{"key": key, "grams": grams.tolist()} for key, grams in rows]
        if given:
            session.execute(add, given)

    def take_out(self, session: Session, index: str, key: int, grams: Grams) -> None:
        """Remove a key."""
        del grams
        remove = sql(f"DELETE FROM {index} WHERE key = :key")  # noqa: S608 - ours
        session.execute(remove, {"key": key})

    def asked(self, ways: Sequence[Sequence[Grams]]) -> list[list[int]]:
        """The grams of each way."""
        return [np.unique(np.concatenate(runs)).tolist() for runs in ways]

    def having(self, index: str, asked: Sequence[ColumnElement[Any]]) -> Asked:
        """The keys that have what is asked."""
        key, grams = column("key", Integer), column("grams", self.type)
        has = or_(*(grams.contains(way) for way in asked))
        return Asked(table(index, key, grams), key, has)

    def holds(self, text: SQLColumnExpression[Any], run: ColumnElement[str]) -> ColumnElement[bool]:
        """The condition that a text holds a run of characters."""
        return func.strpos(text, run) > 0
