"""What became of the right to show and to keep tapes: what is closed, numbers given, departures."""

from datetime import date, datetime

from sqlmodel import Field

from server.store.row import BYTEWISE, Row, UtcDateTime


class ClosedImage(Row, table=True):
    """An image that not everybody may see: as open as the most open of what it belongs to.

    That is the tapes that it was read from, and the programs of which it is the master of a
    version. Triggers of the database keep the rows; nothing else may write them.
    """

    __tablename__ = "closed_image"

    image_id: int = Field(
        foreign_key="image.id", primary_key=True, sa_column_kwargs={"autoincrement": False}
    )
    access: str


class NumberGiven(Row, table=True):
    """An accession number that was ever given, and to which tape: it names no other, ever.

    `key` sorts numbers as people count. Triggers of the database keep the rows, and refuse to
    give a number to a second tape.
    """

    __tablename__ = "number_given"

    number: str = Field(primary_key=True)
    key: str | None = Field(sa_type=BYTEWISE, index=True)
    tape_id: int = Field(foreign_key="tape.id", index=True)


class Deaccession(Row, table=True):
    """A tape left the collection; its record stays. `ended_at` says when it came back."""

    __tablename__ = "deaccession"

    id: int | None = Field(default=None, primary_key=True)
    tape_id: int = Field(foreign_key="tape.id", index=True)
    decided_on: date
    reason: str
    authority: str
    method: str
    recipient: str
    note: str
    made_at: datetime = Field(sa_type=UtcDateTime)
    made_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    ended_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    ended_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    ended_why: str = ""
