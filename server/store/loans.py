"""What leaves the shelf with somebody: loans, and what demonstrators ask for."""

from datetime import date, datetime

from sqlalchemy import JSON, CheckConstraint, Index, text
from sqlmodel import Field

from server.store.row import Row, UtcDateTime

_OUT = text("status = 'out'")
_OPEN = text("status = 'open'")


class TapeRequest(Row, table=True):
    """Somebody wants a tape, or any tape of a program, for a day.

    It is settled by a punching of it, or by a tape that was handed out.
    """

    __tablename__ = "tape_request"
    __table_args__ = (
        CheckConstraint("(tape_id IS NULL) <> (program_id IS NULL)", name="one_object"),
        Index("ix_tape_request_open", "wanted_on", sqlite_where=_OPEN, postgresql_where=_OPEN),
    )

    id: int | None = Field(default=None, primary_key=True)
    tape_id: int | None = Field(default=None, foreign_key="tape.id", index=True)
    program_id: int | None = Field(default=None, foreign_key="program.id", index=True)
    wanted_on: date
    purpose: str = ""
    status: str
    asked_at: datetime = Field(sa_type=UtcDateTime)
    asked_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    settled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    settled_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    punching_id: int | None = Field(default=None, foreign_key="punching.id", index=True)
    handed_id: int | None = Field(default=None, foreign_key="tape.id", index=True)
    note: str = ""
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1


class Loan(Row, table=True):
    """One tape lent to somebody: proposed, approved, out, back.

    The database itself refuses to have a tape out twice, and one that went out or came back
    without a condition report. `obstacles` are those that the archivist who approved it wrote
    the `reason` for.
    """

    __tablename__ = "loan"
    __table_args__ = (
        CheckConstraint(
            "(status IN ('out', 'back', 'not returned')) = (out_report_id IS NOT NULL)",
            name="report_out",
        ),
        CheckConstraint("(status = 'back') = (back_report_id IS NOT NULL)", name="report_back"),
        Index(
            "uq_loan_out",
            "tape_id",
            unique=True,
            sqlite_where=_OUT,
            postgresql_where=_OUT,
        ),
        Index(None, "status", "due_on"),
    )

    id: int | None = Field(default=None, primary_key=True)
    tape_id: int = Field(foreign_key="tape.id", index=True)
    request_id: int | None = Field(default=None, foreign_key="tape_request.id", index=True)
    status: str
    borrower: str
    contact: str = ""
    purpose: str = ""
    terms: str = ""
    due_on: date
    proposed_at: datetime = Field(sa_type=UtcDateTime)
    proposed_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    decided_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    decided_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    reason: str = ""
    obstacles: list[str] = Field(default_factory=list, sa_type=JSON)
    out_on: date | None = None
    out_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    out_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    out_report_id: int | None = Field(default=None, foreign_key="condition_report.id", index=True)
    back_on: date | None = None
    back_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    back_report_id: int | None = Field(default=None, foreign_key="condition_report.id", index=True)
    note: str = ""
    updated_at: datetime = Field(sa_type=UtcDateTime)
    revision: int = 1
