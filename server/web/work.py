"""Background work: start it, see how far it is, stop it."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import redecoding
from server.catalog.errors import Invalid
from server.catalog.work import Role, Work
from server.jobs import access
from server.jobs.background import Background
from server.jobs.state import Pass, PassState
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.visit import Visit, VisitDep

router = APIRouter()


@dataclass(frozen=True, slots=True)
class PassShown:
    """A pass over the whole library: of which kind, and how the newest one stands."""

    kind: Pass
    state: PassState | None


@dataclass(frozen=True, kw_only=True, slots=True)
class WorkPage(PageContext):
    """How the newest passes over the library stand; `here` says whether this worker takes them up.

    `waiting` images were decoded by another release of the decoder; a fixity audit begins by
    itself so many `days` after the last one.
    """

    template: ClassVar[str] = "pages/work.html"
    title: str = "Work on the whole library"
    form: Filled
    here: bool
    passes: tuple[PassShown, ...]
    waiting: int
    days: float

    @classmethod
    def of(cls, visit: Visit, work: Work, form: Filled | None = None) -> "WorkPage":
        """The page as things stand."""
        background = _background(visit)
        return cls(
            form=form or Filled(),
            here=background is not None,
            passes=tuple(
                PassShown(kind, access.last(background, visit.actor, kind)) for kind in Pass
            ),
            waiting=redecoding.waiting(work),
            days=visit.settings.audit_days,
        )


def _background(visit: Visit) -> Background | None:
    found: Background | None = visit.request.app.state.background
    return found


@router.get("/work")
def show(visit: VisitDep) -> Response:
    """How background work stands."""
    with visit.work() as work:
        work.actor.require(Role.ARCHIVIST)
        return visit.page(WorkPage.of(visit, work), block="state")


@router.post("/work")
def change(visit: VisitDep, form: FormDep) -> Response:
    """Start a pass, or stop it."""

    def act(work: Work) -> Response:
        do = access.stop if form.text("do") == "stop" else access.start
        do(_background(visit), work.actor, _kind(form))
        return visit.redirect("/work")

    return visit.submit(form, act, lambda work, filled: WorkPage.of(visit, work, filled))


def _kind(form: Form) -> Pass:
    try:
        return Pass(form.text("pass"))
    except ValueError:
        raise Invalid(
            "That is no pass over the library.", where="pass", mend="Use the form on the page Work."
        ) from None
