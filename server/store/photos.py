"""Photos of tapes and of what a report found on them."""

from datetime import datetime
from typing import Any, ClassVar

from sqlalchemy import CheckConstraint, Column, LargeBinary
from sqlalchemy.orm import deferred
from sqlmodel import Field

from server.store.row import Row, UtcDateTime

_WHOLE = Column("whole", LargeBinary, nullable=False)
_SMALL = Column("small", LargeBinary, nullable=False)


class PhotoFile(Row, table=True):
    """A picture as it was written anew: JPEG, named by its SHA-256, and the same made small."""

    __tablename__ = "photo_file"
    __table_args__ = (CheckConstraint("length(sha256) = 64", name="sha256"),)

    # Deferred: lists of photos need neither.
    __mapper_args__: ClassVar[dict[str, Any]] = {
        "properties": {"whole": deferred(_WHOLE), "small": deferred(_SMALL)}
    }

    id: int | None = Field(default=None, primary_key=True)
    sha256: str = Field(unique=True)
    width: int
    height: int
    small_width: int
    small_height: int
    whole: bytes = Field(sa_column=_WHOLE)
    small: bytes = Field(sa_column=_SMALL)


class Photo(Row, table=True):
    """A picture of one tape, for a report or by itself; `shows` says in words what it shows."""

    __tablename__ = "photo"

    id: int | None = Field(default=None, primary_key=True)
    file_id: int = Field(foreign_key="photo_file.id", index=True)
    tape_id: int = Field(foreign_key="tape.id", index=True)
    report_id: int | None = Field(default=None, foreign_key="condition_report.id", index=True)
    shows: str = ""
    added_at: datetime = Field(sa_type=UtcDateTime)
    added_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
