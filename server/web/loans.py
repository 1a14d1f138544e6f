"""Loans: the list, those of one tape, and one with the forms of its next step."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import (
    condition,
    events,
    handling,
    loan_records,
    loans,
    movements,
    place_records,
    tapes,
)
from server.catalog.condition_values import ReportRecord
from server.catalog.errors import Conflict, Quarantined
from server.catalog.events import EventRecord, ObjectKind
from server.catalog.lending import RULE
from server.catalog.loan_values import (
    Approval,
    Extension,
    HandOver,
    LoanQuery,
    LoanRecord,
    LoanRow,
    LoanStatus,
    NewLoan,
    Return,
    Why,
)
from server.catalog.place_values import Whereabouts
from server.catalog.tape_values import Page, TapeRecord
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.tape_forms import revision_of
from server.web.visit import Visit, VisitDep

router = APIRouter()

PROPOSED: Final = ("borrower", "contact", "purpose", "terms", "due_on", "request")
SEEN: Final = ("on", "report", "state", "advice", "place")
REPORTS_OFFERED: Final = 3

Step = Callable[[Work, int, Form], object]


@dataclass(frozen=True, kw_only=True, slots=True)
class LoansPage(PageContext):
    """A page of loans; `query` says what was asked for."""

    template: ClassVar[str] = "pages/loans.html"
    title: str = "Loans"
    query: LoanQuery
    found: Page[LoanRow]
    statuses: tuple[LoanStatus, ...] = tuple(LoanStatus)


@dataclass(frozen=True, kw_only=True, slots=True)
class TapeLoansPage(PageContext):
    """The loans of one tape, and the form that proposes another."""

    template: ClassVar[str] = "pages/tape_loans.html"
    tape: TapeRecord
    found: Page[LoanRow]
    warnings: tuple[str, ...]
    form: Filled
    rule: str = RULE

    @classmethod
    def of(
        cls, visit: Visit, work: Work, number: str, form: Filled | None = None
    ) -> "TapeLoansPage":
        """The page as the tape stands."""
        query = LoanQuery(tape=number, page_size=visit.settings.page_size)
        asked = visit.request.query_params.get("request", "")
        return cls(
            title=f"Loans of tape {number}",
            found=loan_records.page(work, query),
            tape=tapes.get(work, number),
            warnings=handling.warnings_of(work, number),
            form=form or Filled({"request": asked}),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class LoanPage(PageContext):
    """One loan; `reports` are the newest on its tape, of which one may say how it stands."""

    template: ClassVar[str] = "pages/loan.html"
    loan: LoanRecord
    tape: TapeRecord
    whereabouts: Whereabouts
    warnings: tuple[str, ...]
    reports: tuple[ReportRecord, ...]
    history: tuple[EventRecord, ...]
    offered: tuple[str, ...]
    form: Filled
    rule: str = RULE

    @classmethod
    def of(cls, work: Work, loan_id: int, form: Filled | None = None) -> "LoanPage":
        """The page as the loan stands."""
        loan = loan_records.get(work, loan_id)
        today = work.now.date().isoformat()
        reports = condition.page(work, tape=loan.tape, page_size=REPORTS_OFFERED).rows
        return cls(
            title=f"Loan {loan_id}: {loan.tape} to {loan.borrower}",
            loan=loan,
            tape=tapes.get(work, loan.tape),
            whereabouts=movements.of(work, loan.tape),
            warnings=handling.warnings_of(work, loan.tape),
            reports=tuple(
                each
                for each in reports
                if each.logged >= loan.proposed_at and each.id > (loan.out_report or 0)
            ),
            history=events.of(work, ObjectKind.LOAN, loan_id),
            offered=place_records.offered(work),
            form=(form or Filled()).over({"on": today, "due_on": loan.due_on.isoformat()}),
        )


@router.get("/loans")
def browse(visit: VisitDep) -> Response:
    """The list of loans."""
    params = visit.request.query_params
    asked = {name: params[name] for name in ("status", "overdue", "page") if params.get(name)}
    query = LoanQuery.of({**asked, "page_size": visit.settings.page_size})
    with visit.work() as work:
        page = LoansPage(query=query, found=loan_records.page(work, query))
        return visit.page(page, block="results")


@router.get("/tapes/{number}/loans")
def browse_of_tape(visit: VisitDep, number: str) -> Response:
    """The loans of one tape."""
    with visit.work() as work:
        return visit.page(TapeLoansPage.of(visit, work, number))


@router.post("/tapes/{number}/loans")
def propose(visit: VisitDep, number: str, form: FormDep) -> Response:
    """Propose to lend it."""

    def act(work: Work) -> Response:
        work.actor.require(Role.VOLUNTEER)
        loan = loans.propose(work, NewLoan.of({"tape": number, **form.only(PROPOSED)}))
        return visit.redirect(f"/loans/{loan.id}")

    return visit.submit(
        form, act, lambda work, filled: TapeLoansPage.of(visit, work, number, filled)
    )


@router.get("/loans/{loan_id}")
def show(visit: VisitDep, loan_id: int) -> Response:
    """One loan."""
    with visit.work() as work:
        return visit.page(LoanPage.of(work, loan_id))


def _of(form: Form, names: tuple[str, ...]) -> dict[str, Any]:
    return {name: value for name, value in form.only(names).items() if value}


STEPS: Final[Mapping[str, Step]] = MappingProxyType(
    {
        "approve": lambda work, loan, form: loans.approve(
            work, loan, Approval.of(form.only(("reason",))), revision_of(form)
        ),
        "refuse": lambda work, loan, form: loans.refuse(
            work, loan, Why.of(form.only(("why",))), revision_of(form)
        ),
        "withdraw": lambda work, loan, form: loans.withdraw(
            work, loan, Why.of(form.only(("why",))), revision_of(form)
        ),
        "give-out": lambda work, loan, form: loans.give_out(
            work, loan, HandOver.of(_of(form, SEEN[:-1])), revision_of(form)
        ),
        "extend": lambda work, loan, form: loans.extend(
            work, loan, Extension.of(form.only(("due_on", "why"))), revision_of(form)
        ),
        "take-back": lambda work, loan, form: loans.take_back(
            work, loan, Return.of(_of(form, SEEN)), revision_of(form)
        ),
        "lose": lambda work, loan, form: loans.lose(
            work, loan, Why.of(form.only(("why",))), revision_of(form)
        ),
    }
)
"""The steps of a loan, by the name of the button."""


def _step(name: str) -> Callable[[VisitDep, int, FormDep], Response]:
    def take(visit: VisitDep, loan_id: int, form: FormDep) -> Response:
        def act(work: Work) -> Response:
            work.actor.require(Role.VOLUNTEER)
            try:
                STEPS[name](work, loan_id, form)
            except Quarantined as refusal:
                # The field for the reason stands on the page that the form came from.
                told = {"reason": refusal.mend}
                raise Conflict(
                    refusal.what, where=refusal.where, mend=refusal.mend, fields=told
                ) from None
            return visit.redirect(f"/loans/{loan_id}")

        return visit.submit(form, act, lambda work, filled: LoanPage.of(work, loan_id, filled))

    return take


for name in STEPS:
    router.add_api_route(f"/loans/{{loan_id}}/{name}", _step(name), methods=["POST"])
