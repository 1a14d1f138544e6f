"""Full text on SQLite, by its trigram index.

The index keeps where in a text each run of three characters stands, so that it answers by
itself, without a look at the texts. One that keeps less (detail=none) has an eighth of the
size, but on two words that many listings hold it was slower than reading all of them.
"""

from sqlalchemy import Integer, Select, String, column, select, table

from server.store.texts import Texts


class SqliteSearch:
    """The keys, in SQLite's words."""

    def keys(self, texts: Texts, needle: str) -> Select[int]:
        """The texts in which the needle's runs of three follow each other as in the needle."""
        key, index = column("rowid", Integer), column(texts.index, String)
        phrase = '"' + needle.replace('"', '""') + '"'
        found = select(key.label("key")).select_from(table(texts.index, key, index))
        return found.where(index.op("MATCH")(phrase))
