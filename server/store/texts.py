"""What can be searched: listings and the words of records, folded as they are compared.

`server.store.search` fills and asks these tables; the indexes over them differ by database.
"""

from sqlalchemy import Index, UniqueConstraint
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
    __table_args__ = (UniqueConstraint("kind", "object_id", "field"), Index(None, "rank", "id"))

    id: int | None = Field(default=None, primary_key=True)
    kind: str
    object_id: int
    field: str
    rank: int
    body: str
