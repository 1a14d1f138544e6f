"""What tapes carry: programs, how they are linked, and the exact contents each has had."""

from datetime import datetime
from typing import Any, Final

from sqlalchemy import JSON, CheckConstraint, Index, UniqueConstraint, text
from sqlalchemy.dialects.postgresql import JSONB
from sqlmodel import Field

from server.store.row import Row, UtcDateTime

_EMPTY_TEXT = {"server_default": text("''")}
_EMPTY_LIST = {"server_default": "[]"}
_LIST: Any = JSON().with_variant(JSONB(), "postgresql")
"""A list that may be compared, as a default must be."""
_CLOSED: Final = text("access <> 'public'")


class Program(Row, table=True):
    """A program. `revision` rises with each change, so that two editors notice each other.

    `language`, `machine` and each of `peripherals` are words of a vocabulary (`terms`);
    `attributions` is a list of {about, note, certainty}. One that was merged into another, or
    withdrawn, keeps its row: its number is never given again, and its history lasts.
    `access` says who may see it.
    """

    __tablename__ = "program"
    __table_args__ = (
        Index("ix_program_closed", "access", sqlite_where=_CLOSED, postgresql_where=_CLOSED),
    )

    id: int | None = Field(default=None, primary_key=True)
    title: str = Field(index=True)
    variant_titles: list[str] = Field(
        default_factory=list, sa_type=_LIST, sa_column_kwargs=_EMPTY_LIST
    )
    language: str = Field(default="", index=True)
    machine: str = Field(default="", index=True)
    memory: str = Field(default="", sa_column_kwargs=_EMPTY_TEXT)
    peripherals: list[str] = Field(
        default_factory=list, sa_type=_LIST, sa_column_kwargs=_EMPTY_LIST
    )
    description: str = ""
    instructions: str = Field(default="", sa_column_kwargs=_EMPTY_TEXT)
    faults: str = Field(default="", sa_column_kwargs=_EMPTY_TEXT)
    attributions: list[dict[str, Any]] = Field(
        default_factory=list, sa_type=_LIST, sa_column_kwargs=_EMPTY_LIST
    )
    rights: str = ""
    rights_uri: str = Field(default="", sa_column_kwargs=_EMPTY_TEXT)
    licence: str = Field(default="", sa_column_kwargs=_EMPTY_TEXT)
    access: str = Field(default="public", sa_column_kwargs={"server_default": "public"})
    created_at: datetime = Field(sa_type=UtcDateTime)
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1
    merged_into_id: int | None = Field(default=None, index=True)
    withdrawn_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Version(Row, table=True):
    """One exact content of a program; its image is the master that we punch from.

    `updated_at` is None until it is changed for the first time.
    """

    __tablename__ = "version"
    __table_args__ = (
        UniqueConstraint("program_id", "label"),
        UniqueConstraint("program_id", "image_id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    program_id: int = Field(foreign_key="program.id")
    image_id: int = Field(foreign_key="image.id", index=True)
    label: str
    note: str = ""
    instructions: str = Field(default="", sa_column_kwargs=_EMPTY_TEXT)
    faults: str = Field(default="", sa_column_kwargs=_EMPTY_TEXT)
    created_at: datetime = Field(sa_type=UtcDateTime)
    created_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    updated_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    revision: int = Field(default=1, sa_column_kwargs={"server_default": "1"})


class ProgramLink(Row, table=True):
    """How a program stands to another one, read from `program_id` to `other_id`."""

    __tablename__ = "program_link"
    __table_args__ = (
        UniqueConstraint("program_id", "kind", "other_id"),
        CheckConstraint("program_id <> other_id", name="two_programs"),
    )

    id: int | None = Field(default=None, primary_key=True)
    program_id: int = Field(foreign_key="program.id")
    kind: str
    other_id: int = Field(foreign_key="program.id", index=True)
    note: str = ""
    made_at: datetime = Field(sa_type=UtcDateTime)
    made_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
