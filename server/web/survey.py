"""Survey of the shelves with a phone: one tape after the other, also where the line is poor."""

from dataclasses import dataclass
from typing import Any, ClassVar, Final
from uuid import uuid4

from fastapi import APIRouter, Depends
from starlette.responses import FileResponse, Response

from server.catalog import running, survey
from server.catalog.condition_values import ReportRecord
from server.catalog.defect_words import DefectKind
from server.catalog.errors import NotFound, refused
from server.catalog.running import Running
from server.catalog.survey import FREQUENT, STATES, Surveyed
from server.catalog.vocabulary import Condition
from server.catalog.work import Role, Work
from server.checkout import STATIC
from server.web.context import Filled, PageContext
from server.web.forms import Form, PhotosDep
from server.web.photos import Taken
from server.web.render import wants_fragment
from server.web.upload import volunteer_first
from server.web.visit import VisitDep

router = APIRouter()

CAMERA: Final = {"Permissions-Policy": "camera=(self), geolocation=(), microphone=()"}
"""This page alone may look through the camera, for the code on a label."""

TICKED: Final = ("as_before", "mould", "do_not_run")


@dataclass(frozen=True, kw_only=True, slots=True)
class SurveyPage(PageContext):
    """The form, the tape that it is about where one is named, and what was logged last.

    An `empty` page is kept by the browser for where there is no line: it names nobody.
    """

    template: ClassVar[str] = "pages/survey.html"
    title: str = "Survey"
    form: Filled
    tape: Running | None = None
    logged: ReportRecord | None = None
    empty: bool = False
    states: tuple[Condition, ...] = STATES
    kinds: tuple[DefectKind, ...] = FREQUENT


def _blank(work: Work, number: str = "") -> Filled:
    day = work.now.date().isoformat()
    return Filled({"checked_on": day, "tape": number, "key": str(uuid4()), "as_before": "yes"})


def _tape(work: Work, number: str) -> Running | None:
    try:
        return running.of(work, number) if number else None
    except NotFound:
        return None


def _with_camera(response: Response) -> Response:
    response.headers.update(CAMERA)
    return response


@router.get("/survey")
def show(visit: VisitDep, tape: str = "") -> Response:
    """The form."""
    with visit.work() as work:
        work.actor.require(Role.VOLUNTEER)
        page = SurveyPage(form=_blank(work, tape.strip()), tape=_tape(work, tape.strip()))
        return _with_camera(visit.page(page))


@router.get("/survey/empty")
def show_empty(visit: VisitDep) -> Response:
    """The form without anything of anybody: what the browser keeps for where there is no line."""
    return _with_camera(visit.page(SurveyPage(form=Filled({"as_before": "yes"}), empty=True)))


@router.post("/survey", dependencies=[Depends(volunteer_first)])
def log(visit: VisitDep, form: PhotosDep) -> Response:
    """Log what was seen."""
    taken = Taken(visit, form)

    def act(work: Work) -> Response:
        report = survey.log(work, _seen(form), taken.all, form.text("shows"))
        page = SurveyPage(form=_blank(work), logged=report)
        if wants_fragment(visit.request):
            return visit.page(page, block="outcome")
        return _with_camera(visit.page(page))

    def again(work: Work, filled: Filled) -> SurveyPage:
        return SurveyPage(form=filled, tape=_tape(work, form.text("tape").strip()))

    return visit.submit(form, act, again, block="outcome", first=taken.read)


def _seen(form: Form) -> Surveyed:
    given: dict[str, Any] = form.only(("tape", "checked_on", "state", "advice", "key"))
    ticked = {name: bool(form.text(name)) for name in TICKED}
    if not form.text("state"):
        raise refused("state", "Nobody said how it stands.", "Choose one of the four.")
    return Surveyed.of({**given, **ticked, "defects": form.texts("defects")})


@router.get("/survey-worker.js")
def worker() -> Response:
    """The script that keeps the form in the browser; from here it may serve /survey."""
    return FileResponse(
        STATIC / "survey-worker.js",
        media_type="text/javascript",
        headers={"Cache-Control": "no-cache"},
    )
