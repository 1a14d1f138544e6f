"""Shelf checks: what should lie in a place, held against what does."""

from datetime import datetime

from sqlalchemy import Index, text
from sqlmodel import Field

from server.store.row import Row, UtcDateTime

_OPEN = text("closed_at IS NULL")


class ShelfCheck(Row, table=True):
    """One look through a place and all that is in it; one at a time for each place."""

    __tablename__ = "shelf_check"
    __table_args__ = (
        Index(
            "uq_shelf_check_open",
            "place_id",
            unique=True,
            sqlite_where=_OPEN,
            postgresql_where=_OPEN,
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    place_id: int = Field(foreign_key="place.id", index=True)
    begun_at: datetime = Field(sa_type=UtcDateTime)
    begun_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    closed_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    closed_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    note: str = ""
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1


class ShelfCheckItem(Row, table=True):
    """A tape in a check: in which place it was expected, and in which it was found, if in any.

    `expected_where` is what was written of it as it came into the check; `outcome` is set when the
    check is closed.
    """

    __tablename__ = "shelf_check_item"

    check_id: int = Field(
        foreign_key="shelf_check.id", primary_key=True, sa_column_kwargs={"autoincrement": False}
    )
    tape_id: int = Field(
        foreign_key="tape.id",
        primary_key=True,
        index=True,
        sa_column_kwargs={"autoincrement": False},
    )
    expected_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    expected_where: str = ""
    found_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    found_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    found_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    outcome: str = ""
