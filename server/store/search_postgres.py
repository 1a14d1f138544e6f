"""Full text on PostgreSQL: LIKE, by the trigram index of pg_trgm."""

from sqlalchemy import ColumnElement

from server.store.texts import Texts

_WILDCARDS = str.maketrans({wild: f"\\{wild}" for wild in "\\%_"})


class PostgresSearch:
    """The conditions, in PostgreSQL's words."""

    def holds(self, texts: Texts, needle: str) -> ColumnElement[bool]:
        """The texts that hold the needle; the planner turns to the index by itself."""
        return self.contains(texts, needle)

    def contains(self, texts: Texts, needle: str) -> ColumnElement[bool]:
        """The texts that hold the needle, its wildcards taken literally."""
        return texts.body.like(f"%{needle.translate(_WILDCARDS)}%", escape="\\")
