"""Images, the readings that gave them, and what each decoder release made of them."""

from datetime import date, datetime
from typing import Any, ClassVar

from sqlalchemy import (
    JSON,
    BigInteger,
    CheckConstraint,
    Column,
    Index,
    LargeBinary,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import deferred
from sqlmodel import Field

from server.store.row import Packed, Row, UtcDateTime

_FRAMES = Column("frames", LargeBinary, nullable=False)
_LISTING = Column("listing", LargeBinary, nullable=False)
_CONTENT = Column("content", Packed, nullable=False)


class ImageRow(Row, table=True):
    """The frames of one tape: written once; the database refuses to change or delete it."""

    __tablename__ = "image"
    __table_args__ = (
        CheckConstraint("levels BETWEEN 5 AND 8", name="levels"),
        CheckConstraint("size > 0", name="size"),
        CheckConstraint("length(sha256) = 64", name="sha256"),
    )

    # Deferred: only who asks for the frames gets them, so that no list drags them along.
    __mapper_args__: ClassVar[dict[str, Any]] = {"properties": {"frames": deferred(_FRAMES)}}

    id: int | None = Field(default=None, primary_key=True)
    sha256: str = Field(unique=True)
    size: int
    levels: int
    created_at: datetime = Field(sa_type=UtcDateTime)
    frames: bytes = Field(sa_column=_FRAMES)


class Reading(Row, table=True):
    """One pass of one tape through a reader. Only its tape and its note may be put right."""

    __tablename__ = "reading"
    __table_args__ = (Index(None, "read_on", "accepted_at"),)

    id: int | None = Field(default=None, primary_key=True)
    image_id: int = Field(foreign_key="image.id", index=True)
    tape_id: int | None = Field(default=None, foreign_key="tape.id", index=True)
    file_name: str = ""
    read_on: date | None = None
    reader: str = ""
    note: str = ""
    accepted_at: datetime = Field(sa_type=UtcDateTime)
    accepted_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)


class Decoding(Row, table=True):
    """What one decoder release made of an image; all frames are those of the image as read.

    `listing` is packed by `server.store.listings`; `content` is `Decoding.content` of the core.
    `findings`, `identified`, `load_ranges`, `parts` and `blocks` are lists of objects with the
    field names of the core's values, `processor` is one such object or nothing; earlier releases
    kept neither parts nor processor. When a later release decodes the image again, the older row
    is marked `superseded`, in the same transaction and before the new one is written.
    """

    __tablename__ = "decoding"
    __table_args__ = (
        UniqueConstraint("image_id", "decoder_release"),
        Index(
            "uq_decoding_current",
            "image_id",
            unique=True,
            sqlite_where=text("NOT superseded"),
            postgresql_where=text("NOT superseded"),
        ),
        Index(None, "format", "check_status"),
    )

    __mapper_args__: ClassVar[dict[str, Any]] = {
        "properties": {"listing": deferred(_LISTING), "content": deferred(_CONTENT)}
    }

    id: int | None = Field(default=None, primary_key=True)
    image_id: int = Field(foreign_key="image.id")
    decoder_release: str
    superseded: bool = False
    decoded_at: datetime = Field(sa_type=UtcDateTime)
    format: str
    dialect: str | None = None
    language: str | None = Field(default=None, index=True)
    code: str | None = None
    parity: str | None = None
    orientation: str
    leader_frames: int
    trailer_frames: int
    data_start: int
    data_stop: int
    check_status: str = Field(index=True)
    entry_address: int | None = Field(default=None, sa_type=BigInteger)
    content_sha256: str = Field(index=True)
    loader: str = Field(index=True)
    lettering: str | None = None
    line_count: int
    findings: list[dict[str, Any]] = Field(default_factory=list, sa_type=JSON)
    identified: list[dict[str, Any]] = Field(default_factory=list, sa_type=JSON)
    load_ranges: list[dict[str, int]] = Field(default_factory=list, sa_type=JSON)
    processor: dict[str, Any] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    parts: list[dict[str, Any]] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    blocks: list[dict[str, Any]] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    facts: list[list[str]] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    listing: bytes = Field(sa_column=_LISTING)
    content: bytes = Field(sa_column=_CONTENT)
