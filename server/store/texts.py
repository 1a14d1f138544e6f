"""What can be searched: listings and the words of records, folded as they are compared.

`server.store.search` fills and asks these tables; the indexes over them differ by database.
"""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import ColumnElement, Index, UniqueConstraint
from sqlmodel import Field

from server.store.row import Row


class ListingText(Row, table=True):
    """The folded listing of an image, its lines ended by line feeds."""

    __tablename__ = "listing_text"

    image_id: int = Field(
        foreign_key="image.id", primary_key=True, sa_column_kwargs={"autoincrement": False}
    )
    body: str


class RecordText(Row, table=True):
    """One folded field of a tape or a program. `rank` puts numbers before titles before notes."""

    __tablename__ = "record_text"
    __table_args__ = (
        UniqueConstraint("kind", "object_id", "field"),
        Index(None, "rank", "kind", "object_id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    kind: str
    object_id: int
    field: str
    rank: int
    body: str


_WILDCARDS = str.maketrans({wild: f"\\{wild}" for wild in "\\%_"})


@dataclass(frozen=True, slots=True)
class Texts:
    """A table of folded texts, for whoever asks it: its key, its texts, its full-text index."""

    index: str
    key: ColumnElement[int]
    body: ColumnElement[str]

    def contain(self, needle: str) -> ColumnElement[bool]:
        """The condition that a text holds the folded needle, its wildcards taken literally."""
        return self.body.like(f"%{needle.translate(_WILDCARDS)}%", escape="\\")


def _texts(table: str, key: str) -> Texts:
    columns = Row.metadata.tables[table].columns
    return Texts(table.replace("_text", "_search"), columns[key], columns["body"])


LISTINGS: Final = _texts("listing_text", "image_id")
RECORDS: Final = _texts("record_text", "id")
