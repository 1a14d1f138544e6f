"""What is given and said about loans."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated

from pydantic import Field

from server.catalog.inputs import Input, Name, OrNone, RequiredName, RequiredText, Text
from server.catalog.tape_values import AccessionNumber, PageQuery, RecordNumber
from server.catalog.vocabulary import Condition


class LoanStatus(StrEnum):
    """How far a loan has come."""

    PROPOSED = "proposed"
    APPROVED = "approved"
    OUT = "out"
    BACK = "back"
    REFUSED = "refused"
    WITHDRAWN = "withdrawn"
    NOT_RETURNED = "not returned"

    @property
    def open(self) -> bool:
        """Whether something is still to be done about it."""
        return self in (LoanStatus.PROPOSED, LoanStatus.APPROVED, LoanStatus.OUT)


class Obstacle(StrEnum):
    """Why a tape is not lent without an archivist's written reason."""

    QUARANTINED = "held apart for a hazard"
    FRAGILE_AND_UNREAD = "fragile, and never read"


class NewLoan(Input):
    """A loan to be approved: which tape, to whom, what for, on what terms, and until when."""

    tape: AccessionNumber
    borrower: RequiredName
    contact: Text = ""
    purpose: RequiredText
    terms: Text = ""
    due_on: date
    request: Annotated[RecordNumber | None, OrNone] = None


class Approval(Input):
    """An archivist's word; the reason is needed where something stands against the loan."""

    reason: Text = ""


class Why(Input):
    """Why a loan is refused, withdrawn or given up."""

    why: RequiredText


class Extension(Input):
    """A later day on which the tape is due, and why."""

    due_on: date
    why: Text = ""


class Seen(Input):
    """In what condition the tape is as it changes hands.

    By a report that is logged already, or by what is said here, of which one is made.
    """

    on: date | None = None
    report: Annotated[RecordNumber | None, OrNone] = None
    state: Annotated[Condition | None, OrNone] = None
    advice: Text = ""


class HandOver(Seen):
    """The tape is given to the borrower."""


class Return(Seen):
    """The tape is back; without `place` it goes where it belongs."""

    place: Name = ""


class LoanQuery(PageQuery):
    """Which loans: of one tape, of one status, those that are overdue."""

    tape: Annotated[AccessionNumber | None, OrNone] = None
    status: Annotated[LoanStatus | None, OrNone] = None
    overdue: Annotated[bool, Field(description="Only those that are out beyond their day.")] = False


@dataclass(frozen=True, slots=True)
class LoanRow:
    """A loan in a list; `days` until it is due, below 0 where it is overdue, while it is out."""

    id: int
    tape: str
    tape_title: str
    borrower: str
    status: LoanStatus
    due_on: date
    out_on: date | None
    back_on: date | None
    days: int | None

    @property
    def overdue(self) -> bool:
        """Whether it is out beyond its day."""
        return self.days is not None and self.days < 0


@dataclass(frozen=True, slots=True)
class LoanRecord:
    """A loan, and all that was done about it.

    `obstacles` are what stands against it now, `uncovered` those of them for which no archivist
    has written the reason. The reports say how the tape was as it went out and came back.
    """

    id: int
    tape: str
    tape_title: str
    borrower: str
    contact: str
    purpose: str
    terms: str
    status: LoanStatus
    due_on: date
    days: int | None
    proposed_at: datetime
    proposed_by: str
    decided_at: datetime | None
    decided_by: str | None
    reason: str
    obstacles: tuple[Obstacle, ...]
    uncovered: tuple[Obstacle, ...]
    out_on: date | None
    out_by: str | None
    out_report: int | None
    out_state: Condition | None
    back_on: date | None
    back_by: str | None
    back_report: int | None
    back_state: Condition | None
    note: str
    request: int | None
    revision: int

    @property
    def overdue(self) -> bool:
        """Whether it is out beyond its day."""
        return self.days is not None and self.days < 0
