"""Full text on PostgreSQL: LIKE, for which the planner turns to the trigram index by itself."""

from sqlalchemy import Select, select

from server.store.texts import Texts


class PostgresSearch:
    """The keys, in PostgreSQL's words."""

    def keys(self, texts: Texts, needle: str) -> Select[int]:
        """The texts that hold the needle; pg_trgm narrows them down before they are read."""
        return select(texts.key.label("key")).where(texts.contain(needle))
