"""The index of grams on SQLite: a full-text index whose words are the grams, spelt in letters.

It keeps no texts and no places in them, only which key has which word, so that it stays near the
size of what it indexes; and it gives keys newest first without a look at the older ones.
"""

from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
from sqlalchemy import (
    ColumnElement,
    Integer,
    SQLColumnExpression,
    String,
    column,
    func,
    literal,
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

    def having(self, index: str, ways: Sequence[Sequence[Grams]]) -> Asked:
        """The keys that have, of any of the `ways`, all the grams of all its runs."""
        key, found = column("rowid", Integer), column(index, String)
        asked = (" AND ".join("".join(map(words, runs)).split()) for runs in ways)
        match = " OR ".join(f"({way})" for way in asked)
        return Asked(table(index, key, found), key, found.op("MATCH")(match))

    def holds(self, text: SQLColumnExpression[Any], run: str) -> ColumnElement[bool]:
        """The condition that a text holds a run of characters."""
        return func.instr(text, literal(run)) > 0


def words(grams: Grams) -> str:
    """The grams as words of five letters each, a space after every one."""
    spelt = np.full((len(grams), _WORD + 1), ord(" "), np.uint8)
    for place in range(_WORD):
        digit = (grams >> (_BITS_A_LETTER * place)) & ((1 << _BITS_A_LETTER) - 1)
        spelt[:, place] = _LETTERS[digit]
    return spelt.tobytes().decode("ascii")
