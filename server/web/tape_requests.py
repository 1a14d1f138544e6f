"""What demonstrators ask for: the list, asking, and one request with what could settle it."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import (
    events,
    place_records,
    programs,
    tape_request_records,
    tape_requests,
    tapes,
)
from server.catalog.errors import Conflict, Quarantined, refused
from server.catalog.events import EventRecord, ObjectKind
from server.catalog.lending import RULE
from server.catalog.request_values import (
    Handing,
    NewRequest,
    Punched,
    RequestQuery,
    RequestRecord,
    RequestRow,
    RequestStatus,
    Withdrawal,
)
from server.catalog.tape_values import Page
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.tape_forms import revision_of
from server.web.visit import Act, Visit, VisitDep

router = APIRouter()

ASKED: Final = ("tape", "program", "wanted_on", "purpose")


@dataclass(frozen=True, kw_only=True, slots=True)
class RequestsPage(PageContext):
    """A page of requests; `query` says what was asked for."""

    template: ClassVar[str] = "pages/requests.html"
    title: str = "Requests by demonstrators"
    query: RequestQuery
    found: Page[RequestRow]
    statuses: tuple[RequestStatus, ...] = tuple(RequestStatus)


@dataclass(frozen=True, kw_only=True, slots=True)
class RequestFormPage(PageContext):
    """The form that asks for a tape or a program, which is called `what`."""

    template: ClassVar[str] = "pages/request_form.html"
    form: Filled
    what: str
    back: str

    @classmethod
    def of(cls, work: Work, form: Filled) -> "RequestFormPage":
        """The form; it must say what is asked for, by a link from the page of that."""
        work.actor.require(Role.VOLUNTEER)
        number, program = str(form.value("tape")), str(form.value("program"))
        if number:
            what, back = tapes.get(work, number).title, f"/tapes/{number}"
            title = f"Ask for tape {number}"
        else:
            found = programs.get(work, int(program) if program.isdecimal() else 0)
            what, back, title = found.title, f"/programs/{program}", f"Ask for {found.title}"
        return cls(title=title, form=form, what=what, back=back)


@dataclass(frozen=True, kw_only=True, slots=True)
class RequestPage(PageContext):
    """One request, with what could settle it; `form` is that of its settling."""

    template: ClassVar[str] = "pages/request.html"
    wanted: RequestRecord
    history: tuple[EventRecord, ...]
    offered: tuple[str, ...]
    form: Filled
    may_withdraw: bool
    rule: str = RULE

    @classmethod
    def of(cls, work: Work, request_id: int, form: Filled | None = None) -> "RequestPage":
        """The page as the request stands."""
        wanted = tape_request_records.get(work, request_id)
        asked_by = tape_request_records.request_of(work, request_id).asked_by_id
        return cls(
            title=f"Request {request_id}: {wanted.title}",
            wanted=wanted,
            history=events.of(work, ObjectKind.REQUEST, request_id),
            offered=place_records.offered(work),
            form=form or Filled(),
            may_withdraw=work.actor.owns(asked_by),
        )


@router.get("/requests")
def browse(visit: VisitDep) -> Response:
    """The list of requests."""
    params = visit.request.query_params
    names = ("tape", "program", "status", "page")
    asked = {name: params[name] for name in names if params.get(name)}
    query = RequestQuery.of({**asked, "page_size": visit.settings.page_size})
    with visit.work() as work:
        page = RequestsPage(query=query, found=tape_request_records.page(work, query))
        return visit.page(page, block="results")


@router.get("/requests/new")
def new(visit: VisitDep, tape: str = "", program: str = "") -> Response:
    """The form that asks for something."""
    with visit.work() as work:
        return visit.page(RequestFormPage.of(work, Filled({"tape": tape, "program": program})))


@router.post("/requests/new")
def ask(visit: VisitDep, form: FormDep) -> Response:
    """Ask for something."""

    def act(work: Work) -> Response:
        given = {name: value for name, value in form.only(ASKED).items() if value}
        wanted = tape_requests.ask(work, NewRequest.of(given))
        return visit.redirect(f"/requests/{wanted.id}")

    return visit.submit(form, act, RequestFormPage.of)


@router.get("/requests/{request_id}")
def show(visit: VisitDep, request_id: int) -> Response:
    """One request."""
    with visit.work() as work:
        return visit.page(RequestPage.of(work, request_id))


@router.post("/requests/{request_id}/punched")
def punched(visit: VisitDep, request_id: int, form: FormDep) -> Response:
    """Say that a tape was punched for it."""

    def act(work: Work) -> Response:
        given = Punched.of(form.only(("punching",)))
        tape_requests.punched(work, request_id, given, revision_of(form))
        return visit.redirect(f"/requests/{request_id}")

    return _again(visit, request_id, form, act)


@router.post("/requests/{request_id}/hand-out")
def hand_out(visit: VisitDep, request_id: int, form: FormDep) -> Response:
    """Hand a tape out for it."""

    def act(work: Work) -> Response:
        if not form.text("tape"):
            raise refused("tape", "choose the tape that is handed out", "Choose one.")
        given = Handing.of(form.only(("tape", "place", "reason")))
        try:
            tape_requests.hand_out(work, request_id, given, revision_of(form))
        except Quarantined as refusal:
            told = {"reason": refusal.mend}
            raise Conflict(
                refusal.what, where=refusal.where, mend=refusal.mend, fields=told
            ) from None
        return visit.redirect(f"/requests/{request_id}")

    return _again(visit, request_id, form, act)


@router.post("/requests/{request_id}/withdraw")
def withdraw(visit: VisitDep, request_id: int, form: FormDep) -> Response:
    """Say that nothing comes of it."""

    def act(work: Work) -> Response:
        given = Withdrawal.of(form.only(("why",)))
        tape_requests.withdraw(work, request_id, given, revision_of(form))
        return visit.redirect(f"/requests/{request_id}")

    return _again(visit, request_id, form, act)


def _again(visit: Visit, request_id: int, form: Form, act: Act) -> Response:
    """What `act` answers; where it refuses, the page as it is now, the form kept."""
    return visit.submit(form, act, lambda work, filled: RequestPage.of(work, request_id, filled))
