"""The index of grams on SQLite: a full-text index whose words are the grams, spelt in letters.

It keeps no texts and no places in them, only which key has which word, so that it stays near the
size of what it indexes; and it gives keys newest first without a look at the older ones.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
from sqlalchemy import (
    Boolean,
    ColumnElement,
    Integer,
    SQLColumnExpression,
    String,
    column,
    func,
    table,
)
from sqlalchemy import text as sql
from sqlalchemy.orm import Session

from server.store.gram_index import Asked
from server.store.grams import BITS, Grams

_LETTERS: Final = np.frombuffer(b"abcdefghijklmnopqrstuvwxyz012345", np.uint8)
_BITS_A_LETTER: Final = 5
_WORD: Final = -(-BITS // _BITS_A_LETTER)


class SqliteGrams:
    """The index, in SQLite's words."""

    newest_first = True
    type = String()

    def put(self, session: Session, index: str, rows: Iterable[tuple[int, Grams]]) -> None:
        """Add keys with their grams."""
        add = sql(f"INSERT INTO {index} (rowid, grams) VALUES (:key, :words)")  # noqa: S608 - ours
        given = [{"key": key, "words": words(grams)} for key, grams in rows]
        if given:
            session.execute(add, given)

    def take_out(self, session: Session, index: str, key: int, grams: Grams) -> None:
        """Remove a key."""
        remove = sql(
            f"INSERT INTO {index} ({index}, rowid, grams)"  # noqa: S608 - ours
            " VALUES ('delete', :key, :words)"
        )
        session.execute(remove, {"key": key, "words": words(grams)})

    def asked(self, ways: Sequence[Sequence[Grams]]) -> list[str]:
        """A query of the full-text index: any of the ways, all the words of each."""
        each = (" AND ".join("".join(map(words, runs)).split()) for runs in ways)
        return [" OR ".join(f"({way})" for way in each)]

    def having(self, index: str, asked: Sequence[ColumnElement[Any]]) -> Asked:
        """The keys that have what is asked."""
        key, found = column("rowid", Integer), column(index, String)
        (query,) = asked
        return Asked(table(index, key, found), key, found.op("MATCH")(query))

    def holds(self, text: SQLColumnExpression[Any], run: ColumnElement[str]) -> ColumnElement[bool]:
        """The condition that a text holds a run of characters; `prepare` must have been there."""
        return func.feedhole_holds(text, run, type_=Boolean)


def prepare(connection: sqlite3.Connection) -> None:
    """Let the connection look for a run as Python does: twice as quick as SQLite's own `instr`."""
    connection.create_function("feedhole_holds", 2, _holds, deterministic=True)


def _holds(text: str | None, run: str) -> bool:
    return text is not None and run in text


def words(grams: Grams) -> str:
    """The grams as words of five letters each, a space after every one."""
    spelt = np.full((len(grams), _WORD + 1), ord(" "), np.uint8)
    for place in range(_WORD):
        digit = (grams >> (_BITS_A_LETTER * place)) & ((1 << _BITS_A_LETTER) - 1)
        spelt[:, place] = _LETTERS[digit]
    return spelt.tobytes().decode("ascii")
