"""Punchings: a tape to be made from an image, and each reading of it that was compared."""

from datetime import date, datetime
from typing import Any, ClassVar

from sqlalchemy import JSON, CheckConstraint, Column
from sqlalchemy.orm import deferred
from sqlmodel import Field

from server.store.row import Packed, Row, UtcDateTime

_PREPARED = Column("frames", Packed, nullable=False)
_READ = Column("frames", Packed, nullable=True)


class Punching(Row, table=True):
    """One reel that is punched, from prepared to read back; what was prepared never changes.

    `frames` are the prepared ones, of which `data_start` to `data_stop` carry the content;
    `preparation` holds the choices that they came of, `changes` and `cautions` sentences on
    them. Reels that were prepared together point at the first of them with `first_id`. `tape_id`
    is set once, with the tape that was accessioned after it was read back the same.
    """

    __tablename__ = "punching"
    __table_args__ = (
        CheckConstraint("levels BETWEEN 5 AND 8", name="levels"),
        CheckConstraint("reel BETWEEN 1 AND reels", name="reel"),
        CheckConstraint("(tape_id IS NULL) = (status <> 'read back: same')", name="tape"),
        CheckConstraint("data_start BETWEEN 0 AND data_stop AND data_stop <= size", name="data"),
    )
    __mapper_args__: ClassVar[dict[str, Any]] = {"properties": {"frames": deferred(_PREPARED)}}

    id: int | None = Field(default=None, primary_key=True)
    first_id: int | None = Field(default=None, foreign_key="punching.id", index=True)
    reel: int = 1
    reels: int = 1
    image_id: int = Field(foreign_key="image.id", index=True)
    version_id: int | None = Field(default=None, foreign_key="version.id", index=True)
    preparation: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    changes: list[str] = Field(default_factory=list, sa_type=JSON)
    cautions: list[str] = Field(default_factory=list, sa_type=JSON)
    lettering: str = ""
    format: str
    sha256: str
    size: int
    levels: int
    data_start: int
    data_stop: int
    status: str = Field(index=True)
    prepared_at: datetime = Field(sa_type=UtcDateTime)
    prepared_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    punched_on: date | None = Field(default=None, index=True)
    punched_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    punched_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    medium: str = ""
    punch: str = ""
    rate: float | None = None
    note: str = ""
    tape_id: int | None = Field(default=None, foreign_key="tape.id", unique=True)
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1
    frames: bytes = Field(sa_column=_PREPARED)


class ReadBack(Row, table=True):
    """One reading of a punched tape, and how it compared: written once.

    Where it was the same, `reading_id` is the reading of the tape that was accessioned for it;
    where it differs, the frames are kept here, and no image is made of them. `comparison` is
    that of `server.catalog.read_back_words`.
    """

    __tablename__ = "read_back"
    __table_args__ = (
        CheckConstraint("(reading_id IS NULL) = (frames IS NOT NULL)", name="kept_once"),
    )
    __mapper_args__: ClassVar[dict[str, Any]] = {"properties": {"frames": deferred(_READ)}}

    id: int | None = Field(default=None, primary_key=True)
    punching_id: int = Field(foreign_key="punching.id", index=True)
    reading_id: int | None = Field(default=None, foreign_key="reading.id", unique=True)
    same: bool
    comparison: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    sha256: str
    size: int
    file_name: str = ""
    read_on: date | None = None
    reader: str = ""
    compared_at: datetime = Field(sa_type=UtcDateTime)
    compared_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    frames: bytes | None = Field(default=None, sa_column=_READ)
