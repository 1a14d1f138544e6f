"""The first page, and the choice of light or dark."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import fixity, loan_records, own_list, programs, tapes
from server.catalog.fixity import Audit
from server.catalog.loan_values import LoanRow
from server.catalog.queues import held_in
from server.catalog.queues.values import Told
from server.catalog.tape_values import Page, Sort, TapeQuery, TapeRow
from server.catalog.work import Role, Work
from server.settings import Settings
from server.web.context import PageContext
from server.web.forms import FormDep
from server.web.visit import VisitDep

router = APIRouter()

NEWEST = 8


@dataclass(frozen=True, kw_only=True, slots=True)
class HomePage(PageContext):
    """What the library holds: `tapes` is the first page of the newest, with all counts.

    `queues` are those in which work waits, told to whoever may do some of it; `own` is how much
    of it they took on; `loans` are those of which they are reminded.
    `audit` is the last fixity audit that came to its end, `failing` how many images fail now.
    """

    template: ClassVar[str] = "pages/home.html"
    tapes: Page[TapeRow]
    programs: int
    audit: Audit | None
    failing: int
    demo: bool
    queues: tuple[Told, ...]
    own: int
    loans: tuple[LoanRow, ...]

    @classmethod
    def of(cls, work: Work, settings: Settings) -> "HomePage":
        """The page as the library stands."""
        works_here = work.actor.role.includes(Role.VOLUNTEER)
        years = settings.report_years
        queues = held_in.counts(work, years) if works_here else ()
        return cls(
            title="Punched tapes, read and kept",
            tapes=tapes.page(work, TapeQuery(sort=Sort.NEWEST, page_size=NEWEST)),
            programs=programs.count(work),
            audit=fixity.last_audit(work),
            failing=len(fixity.failures(work)),
            demo=settings.demo,
            queues=tuple(each for each in queues if each.count),
            own=own_list.count(work, years) if works_here else 0,
            loans=loan_records.reminders(work, settings.loan_reminder_days) if works_here else (),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class AppearancePage(PageContext):
    """The choice of light or dark; `back` is the page to go back to."""

    template: ClassVar[str] = "pages/appearance.html"
    title: str = "Light or dark"
    back: str


@router.get("/")
def home(visit: VisitDep) -> Response:
    """What the library holds."""
    with visit.work() as work:
        return visit.page(HomePage.of(work, visit.settings))


@router.get("/appearance")
def appearance(visit: VisitDep, back: str = "/") -> Response:
    """The choice of light or dark."""
    with visit.work():
        return visit.page(AppearancePage(back=back))


@router.post("/appearance")
def choose_appearance(visit: VisitDep, form: FormDep) -> Response:
    """Remember the choice."""
    with visit.change(form):
        response = visit.redirect(form.text("back"))
    visit.cookies.keep_theme(response, form.text("theme"))
    return response
