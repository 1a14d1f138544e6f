"""What can be searched: listings and the words of records, folded as they are compared.

`server.store.search` fills and asks these tables; the indexes over them differ by database.
"""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import Index, SQLColumnExpression, UniqueConstraint
from sqlmodel import Field, col

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
    """A table of folded texts, for whoever asks it: its class, key and texts, its index of grams.

    `plain` is the column of what names something, without spaces and signs, where there is one.
    """

    index: str
    entity: type[Row]
    key: SQLColumnExpression[int]
    body: SQLColumnExpression[str]
    plain: SQLColumnExpression[str | None] | None = None


# By their classes, not by their tables, so that `server.store.sight` sees who asks.
LISTINGS: Final = Texts(
    "listing_search",
    ListingText,
    col(ListingText.image_id),
    col(ListingText.body),
)
RECORDS: Final = Texts(
    "record_search",
    RecordText,
    col(RecordText.id),
    col(RecordText.body),
    col(RecordText.plain),
)
