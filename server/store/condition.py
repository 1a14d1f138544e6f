"""Dated observations of tapes."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index
from sqlmodel import Field

from server.store.row import Row, UtcDateTime


class ConditionReport(Row, table=True):
    """What a volunteer saw on a tape.

    `defects` is a list of {kind, severity, position_mm, note}. One that was taken back, because it
    was logged by mistake, keeps its row and says nothing of the tape any more.
    """

    __tablename__ = "condition_report"
    __table_args__ = (Index(None, "tape_id", "checked_on"),)

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
    created_at: datetime = Field(sa_type=UtcDateTime)
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1
    withdrawn_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
