"""Background work: start it, see how far it is, stop it."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import redecoding
from server.catalog.work import Role, Work
from server.jobs import access
from server.jobs.background import Background
from server.jobs.state import PassState
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.visit import Visit, VisitDep

router = APIRouter()


@dataclass(frozen=True, kw_only=True, slots=True)
class WorkPage(PageContext):
    """How the newest pass over the library stands; `here` says whether this worker takes it up.

    `waiting` images were decoded by another release of the decoder.
    """

    template: ClassVar[str] = "pages/work.html"
    title: str = "Work on the whole library"
    form: Filled
    here: bool
    state: PassState | None
    waiting: int

    @classmethod
    def of(cls, visit: Visit, work: Work, form: Filled | None = None) -> "WorkPage":
        """The page as things stand."""
        background = _background(visit)
        return cls(
            form=form or Filled(),
            here=background is not None,
            state=access.last_pass(background, visit.actor),
            waiting=redecoding.waiting(work),
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
    """Start the pass, or stop it."""

    def act(work: Work) -> Response:
        do = access.stop_pass if form.text("do") == "stop" else access.find_kin
        do(_background(visit), work.actor)
        return visit.redirect("/work")

    return visit.submit(form, act, lambda work, filled: WorkPage.of(visit, work, filled))
