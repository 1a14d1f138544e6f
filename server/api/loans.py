"""Loans, from proposal to return."""

from datetime import date, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.paging import PageOut, page_out
from server.api.problems import CHANGE, responses
from server.api.revisions import CREATING, READING, Revised, marked
from server.catalog import loan_records, loans
from server.catalog.loan_values import (
    Approval,
    Extension,
    HandOver,
    LoanQuery,
    LoanStatus,
    NewLoan,
    Obstacle,
    Return,
    Why,
)
from server.catalog.vocabulary import Condition
from server.inspection import Fields

router = APIRouter(prefix="/loans", tags=["loans"])

LoanId = Annotated[int, Path(description="Number of the loan.", ge=1, le=2**31 - 1)]

TOLD = responses("not-signed-in", "not-allowed", "not-found", "invalid")
STEP = responses(*CHANGE, "not-found", "conflict", "quarantined")


class LoanRowOut(Fields):
    """A loan in a list."""

    id: int = Field(description="Number of the loan.")
    tape: str = Field(description="Accession number of the tape.")
    tape_title: str = Field(description="Its title.")
    borrower: str = Field(description="To whom it is lent.")
    status: LoanStatus = Field(description="How far it has come.")
    due_on: date = Field(description="Day on which it is due back.")
    out_on: date | None = Field(description="Day on which it went, or null.")
    back_on: date | None = Field(description="Day on which it came back, or null.")
    days: int | None = Field(
        description="Days until it is due while it is out, below 0 where it is overdue; or null."
    )
    overdue: bool = Field(description="Whether it is out beyond its day.")


class LoanOut(Revised):
    """A loan, and all that was done about it."""

    id: int = Field(description="Number of the loan.")
    tape: str = Field(description="Accession number of the tape.")
    tape_title: str = Field(description="Its title.")
    borrower: str = Field(description="To whom it is lent.")
    contact: str = Field(description="How to reach them.")
    purpose: str = Field(description="What for.")
    terms: str = Field(description="What was agreed.")
    status: LoanStatus = Field(description="How far it has come.")
    due_on: date = Field(description="Day on which it is due back.")
    days: int | None = Field(description="Days until it is due while it is out, or null.")
    overdue: bool = Field(description="Whether it is out beyond its day.")
    proposed_at: datetime = Field(description="When it was proposed, in UTC.")
    proposed_by: str = Field(description="By whom.")
    decided_at: datetime | None = Field(description="When it was approved or refused, or null.")
    decided_by: str | None = Field(description="By whom, or null.")
    reason: str = Field(description="Why it is lent although something stands against it.")
    obstacles: list[Obstacle] = Field(description="What stands against it now.")
    uncovered: list[Obstacle] = Field(description="Those of them that no reason was written for.")
    out_on: date | None = Field(description="Day on which it went, or null.")
    out_by: str | None = Field(description="Who gave it out, or null.")
    out_report: int | None = Field(description="Condition report made then, or null.")
    out_state: Condition | None = Field(description="How it stood then, or null.")
    back_on: date | None = Field(description="Day on which it came back, or null.")
    back_by: str | None = Field(description="Who took it back, or null.")
    back_report: int | None = Field(description="Condition report made then, or null.")
    back_state: Condition | None = Field(description="How it stood then, or null.")
    note: str = Field(description="Why it ended, where it did before its time.")
    request: int | None = Field(description="The request that it is for, or null.")


@router.get("", dependencies=SIGNED_IN, responses=TOLD)
def list_loans(
    request: Request, response: Response, caller: CallerDep, query: Annotated[LoanQuery, Query()]
) -> PageOut[LoanRowOut]:
    """Loans (volunteers), newest first; those that are overdue, the longest first."""
    with caller.reading() as work:
        return page_out(request, response, loan_records.page(work, query), LoanRowOut)


@router.post("", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def propose_loan(request: Request, response: Response, caller: CallerDep, new: NewLoan) -> LoanOut:
    """Propose to lend a tape (volunteers)."""
    with caller.work() as work:
        loan = LoanOut.model_validate(loans.propose(work, new))
    response.headers["Location"] = address(request, "get_loan", loan_id=loan.id)
    return marked(response, loan)


@router.get("/{loan_id}", dependencies=SIGNED_IN, responses=READING | TOLD)
def get_loan(loan_id: LoanId, response: Response, caller: CallerDep) -> LoanOut:
    """A loan (volunteers)."""
    with caller.reading() as work:
        return marked(response, LoanOut.model_validate(loan_records.get(work, loan_id)))


@router.post("/{loan_id}/approve", dependencies=SIGNED_IN, responses=STEP)
def approve_loan(loan_id: LoanId, caller: CallerDep, given: Approval) -> LoanOut:
    """Approve a loan (archivists), with the reason where something stands against it."""
    with caller.work() as work:
        return LoanOut.model_validate(loans.approve(work, loan_id, given))


@router.post("/{loan_id}/refuse", dependencies=SIGNED_IN, responses=STEP)
def refuse_loan(loan_id: LoanId, caller: CallerDep, given: Why) -> LoanOut:
    """Refuse a loan (archivists)."""
    with caller.work() as work:
        return LoanOut.model_validate(loans.refuse(work, loan_id, given))


@router.post("/{loan_id}/withdraw", dependencies=SIGNED_IN, responses=STEP)
def withdraw_loan(loan_id: LoanId, caller: CallerDep, given: Why) -> LoanOut:
    """Say that nothing comes of a loan that is not out (volunteers)."""
    with caller.work() as work:
        return LoanOut.model_validate(loans.withdraw(work, loan_id, given))


@router.post("/{loan_id}/give-out", dependencies=SIGNED_IN, responses=STEP)
def give_out_loan(loan_id: LoanId, caller: CallerDep, given: HandOver) -> LoanOut:
    """Give the tape out (volunteers), with a condition report or what one is made of."""
    with caller.work() as work:
        return LoanOut.model_validate(loans.give_out(work, loan_id, given))


@router.post("/{loan_id}/extend", dependencies=SIGNED_IN, responses=STEP)
def extend_loan(loan_id: LoanId, caller: CallerDep, given: Extension) -> LoanOut:
    """Give a loan another day on which the tape is due (archivists)."""
    with caller.work() as work:
        return LoanOut.model_validate(loans.extend(work, loan_id, given))


@router.post("/{loan_id}/take-back", dependencies=SIGNED_IN, responses=STEP)
def take_back_loan(loan_id: LoanId, caller: CallerDep, given: Return) -> LoanOut:
    """Take the tape back (volunteers), with a condition report or what one is made of."""
    with caller.work() as work:
        return LoanOut.model_validate(loans.take_back(work, loan_id, given))


@router.post("/{loan_id}/lose", dependencies=SIGNED_IN, responses=STEP)
def lose_loan(loan_id: LoanId, caller: CallerDep, given: Why) -> LoanOut:
    """Say that the tape does not come back (archivists): it is missing from now on."""
    with caller.work() as work:
        return LoanOut.model_validate(loans.lose(work, loan_id, given))
