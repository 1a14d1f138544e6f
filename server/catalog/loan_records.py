"""What is said of loans: lists, one loan, and whom to remind of what."""

from typing import Any, Final

from sqlalchemy import ColumnElement, func, select, true
from sqlmodel import col

from server.catalog import named
from server.catalog.errors import NotFound
from server.catalog.held import known, may_be_id, tape_of
from server.catalog.lending import obstacles_to
from server.catalog.loan_values import LoanQuery, LoanRecord, LoanRow, LoanStatus, Obstacle
from server.catalog.narrowing import AnySelect
from server.catalog.tape_values import Page
from server.catalog.vocabulary import Condition
from server.catalog.work import Role, Work
from server.store.condition import ConditionReport
from server.store.loans import Loan
from server.store.tapes import Tape

MOST_REMINDERS: Final = 12
"""Loans that the first page tells of; the list of loans has the rest."""

_COLUMNS: AnySelect = select(Loan, col(Tape.accession_number), col(Tape.title)).join(
    Tape, col(Tape.id) == col(Loan.tape_id)
)


def page(work: Work, query: LoanQuery) -> Page[LoanRow]:
    """One page of loans, the newest first; those that are overdue, the longest first.

    Raises:
        NotSignedIn: who borrows is told to those who work here.
        NotFound: there is no such tape.
    """
    work.actor.require(Role.VOLUNTEER)
    condition: ColumnElement[bool] = true()
    if query.tape is not None:
        condition &= col(Loan.tape_id) == tape_of(work, query.tape).id
    if query.status is not None:
        condition &= col(Loan.status) == query.status
    order: tuple[Any, ...] = (col(Loan.id).desc(),)
    if query.overdue:
        condition &= is_overdue(work)
        order = (col(Loan.due_on), col(Loan.id))
    total = work.session.scalar(select(func.count()).select_from(Loan).where(condition)) or 0
    part = _COLUMNS.where(condition).order_by(*order).offset((query.page - 1) * query.page_size)
    rows = work.session.execute(part.limit(query.page_size))
    return Page(tuple(_row(work, *row) for row in rows), total, query.page, query.page_size)


def reminders(work: Work, days: int) -> tuple[LoanRow, ...]:
    """The loans that are overdue, or due within so many days, the longest due first.

    Raises:
        NotSignedIn: who borrows is told to those who work here.
    """
    work.actor.require(Role.VOLUNTEER)
    last = work.now.date().toordinal() + days
    rows = work.session.execute(
        _COLUMNS.where(
            col(Loan.status) == LoanStatus.OUT,
            col(Loan.due_on) <= work.now.date().fromordinal(last),
        )
        .order_by(col(Loan.due_on), col(Loan.id))
        .limit(MOST_REMINDERS)
    )
    return tuple(_row(work, *row) for row in rows)


def is_overdue(work: Work) -> ColumnElement[bool]:
    """Whether a loan is out beyond its day."""
    return (col(Loan.status) == LoanStatus.OUT) & (col(Loan.due_on) < work.now.date())


def get(work: Work, loan_id: int) -> LoanRecord:
    """A loan.

    Raises:
        NotSignedIn: who borrows is told to those who work here.
        NotFound: there is none of that id.
    """
    work.actor.require(Role.VOLUNTEER)
    loan = loan_of(work, loan_id)
    tape = work.session.get_one(Tape, loan.tape_id)
    against = obstacles_to(tape) if LoanStatus(loan.status).open else ()
    return LoanRecord(
        id=loan_id,
        tape=tape.accession_number,
        tape_title=tape.title,
        borrower=loan.borrower,
        contact=loan.contact,
        purpose=loan.purpose,
        terms=loan.terms,
        status=LoanStatus(loan.status),
        due_on=loan.due_on,
        days=_days(work, loan),
        proposed_at=loan.proposed_at,
        proposed_by=named.told_of(work, loan.proposed_by_id),
        decided_at=loan.decided_at,
        decided_by=named.told_of(work, loan.decided_by_id) if loan.decided_at else None,
        reason=loan.reason,
        obstacles=against,
        uncovered=uncovered(loan, against),
        out_on=loan.out_on,
        out_by=named.told_of(work, loan.out_by_id) if loan.out_on else None,
        out_report=loan.out_report_id,
        out_state=_state(work, loan.out_report_id),
        back_on=loan.back_on,
        back_by=named.told_of(work, loan.back_by_id) if loan.back_on else None,
        back_report=loan.back_report_id,
        back_state=_state(work, loan.back_report_id),
        note=loan.note,
        request=loan.request_id,
        revision=loan.revision,
    )


def uncovered(loan: Loan, against: tuple[Obstacle, ...]) -> tuple[Obstacle, ...]:
    """What stands against a loan that no archivist has written a reason for."""
    return tuple(each for each in against if each not in loan.obstacles)


def loan_of(work: Work, loan_id: int) -> Loan:
    """A loan.

    Raises:
        NotFound: there is none of that id.
    """
    found = work.session.get(Loan, loan_id) if may_be_id(loan_id) else None
    if found is None:
        raise NotFound(
            f"There is no loan {loan_id}.",
            where=str(loan_id),
            mend="Look for it in the list of loans.",
        )
    return found


def _row(work: Work, loan: Loan, number: str, title: str) -> LoanRow:
    return LoanRow(
        id=known(loan.id),
        tape=number,
        tape_title=title,
        borrower=loan.borrower,
        status=LoanStatus(loan.status),
        due_on=loan.due_on,
        out_on=loan.out_on,
        back_on=loan.back_on,
        days=_days(work, loan),
    )


def _days(work: Work, loan: Loan) -> int | None:
    """Days until a loan is due that is out."""
    return (loan.due_on - work.now.date()).days if loan.status == LoanStatus.OUT else None


def _state(work: Work, report_id: int | None) -> Condition | None:
    report = None if report_id is None else work.session.get(ConditionReport, report_id)
    return None if report is None else Condition(report.state)
