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
    """One folded field of a tape or a program.

    `rank` puts numbers before titles before notes, and `id` is made of it and of the record's
    own id: the greatest first, they tell the best field first and the newest record of it.
    `plain` is the body without all but letters and digits, of fields that name something.
    """

    __tablename__ = "record_text"
    __table_args__ = (
        UniqueConstraint("kind", "object_id", "field"),
        Index(None, "plain"),
    )

    id: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    kind: str
    object_id: int
    field: str
    rank: int
    body: str
    plain: str | None = None


@dataclass(frozen=True, slots=True)
class Texts:
    """A table of folded texts, for whoever asks it: its key, its texts, its index of grams.

    `plain` is the column of what names something, without spaces and signs, where there is one.
    """

    index: str
    key: ColumnElement[int]
    body: ColumnElement[str]
    plain: ColumnElement[str | None] | None = None


def _texts(table: str, key: str) -> Texts:
    columns = Row.metadata.tables[table].columns
    index = table.replace("_text", "_search")
    return Texts(index, columns[key], columns["body"], columns.get("plain"))


LISTINGS: Final = _texts("listing_text", "image_id")
RECORDS: Final = _texts("record_text", "id")
