"""Dated observations of tapes, and an archivist's word that one may be run all the same."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index
from sqlmodel import Field

from server.store.row import Row, UtcDateTime


class ConditionReport(Row, table=True):
    """What a volunteer saw on a tape.

    `defects` is a list of {kind, severity, extent, position_mm, length_mm, note}. `key` is what a
    sender gave the report, so that one that was sent twice is kept once. One that was taken back,
    because it was logged by mistake, keeps its row and says nothing of the tape any more.
    """

    __tablename__ = "condition_report"
    __table_args__ = (
        Index(None, "tape_id", "checked_on"),
        Index("uq_condition_report_key", "key", unique=True),
    )

    id: int | None = Field(default=None, primary_key=True)
    tape_id: int = Field(foreign_key="tape.id")
    checked_on: date = Field(index=True)
    checked_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    state: str
    reason: str = ""
    method: str = ""
    defects: list[dict[str, Any]] = Field(default_factory=list, sa_type=JSON)
    machine_readable: bool | None = None
    advice: str = ""
    hazard: str = ""
    handling: str = Field(default="as usual", sa_column_kwargs={"server_default": "as usual"})
    action: str = Field(default="nothing", sa_column_kwargs={"server_default": "nothing"})
    urgency: str = Field(default="in its time", sa_column_kwargs={"server_default": "in its time"})
    next_check: date | None = None
    key: str | None = None
    created_at: datetime = Field(sa_type=UtcDateTime)
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1
    withdrawn_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class RunPermission(Row, table=True):
    """An archivist's word that a tape may be run although it should not: once, and for a day."""

    __tablename__ = "run_permission"

    id: int | None = Field(default=None, primary_key=True)
    tape_id: int = Field(foreign_key="tape.id", index=True)
    granted_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    granted_at: datetime = Field(sa_type=UtcDateTime)
    valid_until: datetime = Field(sa_type=UtcDateTime)
    reason: str
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
