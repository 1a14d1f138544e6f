"""Full text on SQLite: its trigram index finds the candidates, `instr` the true matches.

The index keeps which texts hold each run of three characters, and not where (detail=none):
an eighth of the size of an index with places, and the few false candidates are cheap to read.
"""

from sqlalchemy import ColumnElement, Integer, String, and_, bindparam, column, func, text
from sqlalchemy.sql import quoted_name

from server.store.texts import Texts


class SqliteSearch:
    """The conditions, in SQLite's words."""

    def holds(self, texts: Texts, needle: str) -> ColumnElement[bool]:
        """The texts that hold all the needle's runs of three, and the needle itself."""
        index = quoted_name(texts.index, quote=True)
        candidates = text(f"SELECT rowid FROM {index} WHERE {index} MATCH :runs").bindparams(  # noqa: S608
            bindparam("runs", _runs_of_three(needle), type_=String, unique=True)
        )
        return and_(
            texts.key.in_(candidates.columns(column("rowid", Integer))),
            self.contains(texts, needle),
        )

    def contains(self, texts: Texts, needle: str) -> ColumnElement[bool]:
        """The texts that hold the needle; `instr` knows neither wildcards nor case."""
        return func.instr(texts.body, needle) > 0


def _runs_of_three(needle: str) -> str:
    """The expression that asks for all of the needle's runs, each once and each quoted."""
    runs = dict.fromkeys(needle[at : at + 3] for at in range(len(needle) - 2))
    return " ".join('"' + run.replace('"', '""') + '"' for run in runs)
