"""The event log."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, Index
from sqlmodel import Field

from server.store.row import Row, UtcDateTime


class Event(Row, table=True):
    """Something that was done, by whom, to what: written once, never changed or deleted.

    `object_kind` and `object_key` name the object as the pages do: an image by its SHA-256, a
    tape by its accession number, the rest by id. `agent` is a person's name at the time, or a
    program's with its release. A correction is a new event that points at the old one.
    """

    __tablename__ = "event"
    __table_args__ = (Index(None, "object_kind", "object_key"),)

    id: int | None = Field(default=None, primary_key=True)
    type: str = Field(index=True)
    occurred_at: datetime = Field(sa_type=UtcDateTime, index=True)
    object_kind: str
    object_key: str
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    agent: str
    outcome: str = ""
    detail: str = ""
    facts: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    corrects_id: int | None = Field(default=None, foreign_key="event.id", index=True)
