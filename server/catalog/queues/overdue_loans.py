"""Tapes that somebody still has, though they were to be back."""

from collections.abc import Collection
from typing import Final

from sqlalchemy import select
from sqlmodel import col

from server.catalog.loan_values import LoanStatus
from server.catalog.narrowing import AnySelect
from server.catalog.queues.queue import About, Asked, Queue, Step
from server.catalog.queues.values import Ids
from server.catalog.work import Role, Work
from server.store.loans import Loan


def _asks(asked: Asked) -> AnySelect:
    """The loans that are out are few: their index is asked, and no tape."""
    question: AnySelect = (
        select(col(Loan.tape_id))
        .where(col(Loan.status) == LoanStatus.OUT, col(Loan.due_on) < asked.today)
        .order_by(col(Loan.due_on), col(Loan.tape_id))
    )
    return question


def _tells(work: Work, found: Collection[Ids]) -> dict[Ids, str]:
    """When each was due; and who has it, to those who work here."""
    rows = work.session.execute(
        select(col(Loan.tape_id), col(Loan.due_on), col(Loan.borrower)).where(
            col(Loan.status) == LoanStatus.OUT, col(Loan.tape_id).in_([ids[0] for ids in found])
        )
    )
    works_here = work.actor.role.includes(Role.VOLUNTEER)
    return {
        (tape,): f"due on {due}" + (f", with {borrower}" if works_here else "")
        for tape, due, borrower in rows
    }


OVERDUE_LOANS: Final = Queue(
    name="overdue-loans",
    title="Overdue loans",
    meaning="Tapes that were lent and should be back by now.",
    todo="Remind whoever has it. When it is back, look at it before it goes to its place; an "
    "archivist may agree on a later day.",
    well_done="Well done: every tape that was lent is back in time, or still has some.",
    role=Role.VOLUNTEER,
    about=About.TAPE,
    asks=_asks,
    steps=(Step("Look at its loan", "/tapes/{tape}/loans"),),
    tells=_tells,
)
