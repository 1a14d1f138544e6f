"""What tapes carry: programs, and the exact contents each has had."""

from datetime import datetime
from typing import Final

from sqlalchemy import Index, UniqueConstraint, text
from sqlmodel import Field

from server.store.row import Row, UtcDateTime

_CLOSED: Final = text("access <> 'public'")


class Program(Row, table=True):
    """A program. `revision` rises with each change, so that two editors notice each other.

    `access` says who may see it.
    """

    __tablename__ = "program"
    __table_args__ = (
        Index("ix_program_closed", "access", sqlite_where=_CLOSED, postgresql_where=_CLOSED),
    )

    id: int | None = Field(default=None, primary_key=True)
    title: str = Field(index=True)
    language: str = Field(default="", index=True)
    machine: str = Field(default="", index=True)
    description: str = ""
    rights: str = ""
    rights_uri: str = Field(default="", sa_column_kwargs={"server_default": text("''")})
    licence: str = Field(default="", sa_column_kwargs={"server_default": text("''")})
    access: str = Field(default="public", sa_column_kwargs={"server_default": "public"})
    created_at: datetime = Field(sa_type=UtcDateTime)
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1


class Version(Row, table=True):
    """One exact content of a program; its image is the master that we punch from."""

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
    created_at: datetime = Field(sa_type=UtcDateTime)
    created_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
