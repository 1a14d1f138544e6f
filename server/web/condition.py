"""Condition reports: the list, one report, logging one, amending it, and ending a quarantine."""

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar
from uuid import uuid4

from fastapi import APIRouter, Depends, Query
from starlette.responses import Response

from server.catalog import condition, photos, report_changes, running, tapes
from server.catalog.condition_values import NewReport, ReportChange, ReportRecord
from server.catalog.photos import PhotoRecord
from server.catalog.report_changes import Comparison
from server.catalog.tape_values import Page, TapeRecord
from server.catalog.vocabulary import Action, Handling, Method, Reason, Urgency
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep, PhotosDep
from server.web.photos import Taken
from server.web.tape_forms import revision_of
from server.web.upload import volunteer_first
from server.web.visit import VisitDep

router = APIRouter()

PageNumber = Annotated[int, Query(ge=1, le=1_000_000)]

DEFECT_ROWS = 4
"""Empty rows for defects in a form; a form that is full is given more."""

OTHERS = 50
"""Reports on the same tape that a report can be held against, from the newest on."""

ALONE = (
    "checked_on",
    "state",
    "reason",
    "method",
    "machine_readable",
    "advice",
    "hazard",
    "handling",
    "action",
    "urgency",
    "next_check",
)
IN_A_ROW = ("kind", "severity", "extent", "position_mm", "length_mm", "note")
FILLED = ("kind", "position_mm", "length_mm", "note")
"""What makes a row of the form a defect; the rest are choices that always hold something."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ReportsPage(PageContext):
    """A page of reports, of all tapes or of one (`tape`)."""

    template: ClassVar[str] = "pages/reports.html"
    found: Page[ReportRecord]
    tape: TapeRecord | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ReportPage(PageContext):
    """One report on `tape`, beside an earlier one; `others` are those to hold it against."""

    template: ClassVar[str] = "pages/report.html"
    report: ReportRecord
    tape: TapeRecord
    may_amend: bool
    photos: tuple[PhotoRecord, ...]
    compared: Comparison | None
    others: tuple[ReportRecord, ...]
    near: float = report_changes.NEAR_MM

    @classmethod
    def of(cls, work: Work, report_id: int, against: int = 0) -> "ReportPage":
        """The report of that number beside the one before it, or beside another on its tape."""
        report = condition.get(work, report_id)
        others = condition.page(work, report.tape, page_size=OTHERS).rows
        chosen = [each for each in others if each.id == against and each.id != report_id]
        other = chosen[0] if chosen else condition.before(work, report)
        return cls(
            title=f"Condition of tape {report.tape} on {report.checked_on}",
            report=report,
            tape=tapes.get(work, report.tape),
            may_amend=condition.may_amend(work, report_id),
            photos=photos.of_report(work, report_id),
            compared=report_changes.compare(report, other) if other else None,
            others=tuple(each for each in others if each.id != report_id),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class ReportFormPage(PageContext):
    """The form of a report: of a new one, or of one that is held (`report`)."""

    template: ClassVar[str] = "pages/report_form.html"
    form: Filled
    tape: TapeRecord
    rows: int
    report: ReportRecord | None = None


def _as_rows(defects: tuple[dict[str, Any], ...]) -> dict[str, Any]:
    return {
        f"defects.{row}.{name}": _shown(defect[name])
        for row, defect in enumerate(defects)
        for name in IN_A_ROW
    }


def _shown(value: Any) -> Any:
    """A value as its field holds it; lengths without a needless `.0`."""
    if isinstance(value, float):
        return f"{value:.10g}"
    return "" if value is None else value


def _rows_of(form: Form) -> list[dict[str, str]]:
    """The defects in a form; a row without a kind, a place, a length and a note is not one."""
    numbers = sorted(
        int(name.split(".")[1])
        for name in form.fields
        if name.startswith("defects.") and name.endswith(".kind") and name.split(".")[1].isdecimal()
    )
    rows = [{name: form.text(f"defects.{row}.{name}") for name in IN_A_ROW} for row in numbers]
    return [row for row in rows if any(row[name] for name in FILLED)]


def _rows_needed(values: dict[str, Any]) -> int:
    held = {name.split(".")[1] for name, value in values.items() if ".kind" in name and value}
    return len(held) + DEFECT_ROWS


def _settled(form: Form, filled: Filled) -> Filled:
    """The form again, its defects without gaps, as they were numbered for the check."""
    alone = {
        name: value for name, value in filled.values.items() if not name.startswith("defects.")
    }
    return Filled({**alone, **_as_rows(tuple(_rows_of(form)))}, filled.errors, filled.refusal)


def _form_page(
    work: Work, number: str, form: Filled, report: ReportRecord | None = None
) -> ReportFormPage:
    work.actor.require(Role.VOLUNTEER)
    return ReportFormPage(
        title=f"Condition of tape {number}",
        form=form,
        tape=tapes.get(work, number),
        rows=_rows_needed(form.values),
        report=report,
    )


def _blank(work: Work, number: str) -> Filled:
    return Filled(
        {
            "checked_on": work.now.date().isoformat(),
            "state": tapes.get(work, number).condition,
            "reason": Reason.SCHEDULE,
            "method": Method.BY_EYE,
            "handling": Handling.AS_USUAL,
            "action": Action.NONE,
            "urgency": Urgency.IN_TIME,
            "key": str(uuid4()),
        }
    )


def _as_it_stands(report: ReportRecord) -> Filled:
    alone = {name: getattr(report, name) for name in ALONE}
    readable = report.machine_readable
    alone["machine_readable"] = "" if readable is None else str(readable).lower()
    defects = tuple(defect.model_dump() for defect in report.defects)
    return Filled({**alone, **_as_rows(defects), "revision": report.revision})


@router.get("/condition-reports")
def browse(visit: VisitDep, page: PageNumber = 1) -> Response:
    """The reports of all tapes."""
    with visit.work() as work:
        found = condition.page(work, page=page, page_size=visit.settings.page_size)
        return visit.page(ReportsPage(title="Condition reports", found=found), block="results")


@router.get("/tapes/{number}/condition")
def browse_of_tape(visit: VisitDep, number: str, page: PageNumber = 1) -> Response:
    """The reports of one tape."""
    with visit.work() as work:
        tape = tapes.get(work, number)
        found = condition.page(work, number, page, visit.settings.page_size)
        shown = ReportsPage(title=f"Condition of tape {number}", found=found, tape=tape)
        return visit.page(shown, block="results")


@router.get("/tapes/{number}/condition/new")
def new(visit: VisitDep, number: str) -> Response:
    """The form of a new report."""
    with visit.work() as work:
        work.actor.require(Role.VOLUNTEER)
        return visit.page(_form_page(work, number, _blank(work, number)))


@router.post("/tapes/{number}/condition/new", dependencies=[Depends(volunteer_first)])
def log(visit: VisitDep, number: str, form: PhotosDep) -> Response:
    """Log a report, with photos."""
    taken = Taken(visit, form)

    def act(work: Work) -> Response:
        given = {"tape": number, "defects": _rows_of(form), **form.only((*ALONE, "key"))}
        report = condition.log(work, NewReport.of(given))
        photos.add(work, number, taken.all, form.text("shows"), report.id)
        return visit.redirect(f"/condition-reports/{report.id}")

    return visit.submit(
        form,
        act,
        lambda work, filled: _form_page(work, number, _settled(form, filled)),
        first=taken.read,
    )


@router.get("/condition-reports/{report_id}")
def show(visit: VisitDep, report_id: int, against: int = 0) -> Response:
    """One report, beside the one before it or another."""
    with visit.work() as work:
        return visit.page(ReportPage.of(work, report_id, against))


@router.get("/condition-reports/{report_id}/edit")
def edit(visit: VisitDep, report_id: int) -> Response:
    """The form of a report that is held."""
    with visit.work() as work:
        report = condition.get(work, report_id)
        condition.require_amender(work, report_id)
        return visit.page(_form_page(work, report.tape, _as_it_stands(report), report))


@router.post("/condition-reports/{report_id}/edit")
def amend(visit: VisitDep, report_id: int, form: FormDep) -> Response:
    """Amend a report."""

    def act(work: Work) -> Response:
        given = ReportChange.of({"defects": _rows_of(form), **form.only(ALONE)})
        condition.amend(work, report_id, given, revision_of(form))
        return visit.redirect(f"/condition-reports/{report_id}")

    def again(work: Work, filled: Filled) -> ReportFormPage:
        report = condition.get(work, report_id)
        return _form_page(work, report.tape, _settled(form, filled), report)

    return visit.submit(form, act, again)


@router.post("/tapes/{number}/release")
def release(visit: VisitDep, number: str, form: FormDep) -> Response:
    """End the quarantine of a tape."""
    with visit.change(form) as work:
        condition.release(work, number, form.text("note"))
        return visit.redirect(f"/tapes/{number}")


@router.post("/tapes/{number}/permission")
def permit(visit: VisitDep, number: str, form: FormDep) -> Response:
    """Let a tape be read once although it should not be run."""
    with visit.change(form) as work:
        running.permit(work, number, form.text("reason"))
        return visit.redirect(f"/tapes/{number}")


@router.post("/tapes/{number}/permission/end")
def withdraw(visit: VisitDep, number: str, form: FormDep) -> Response:
    """Take that word back."""
    with visit.change(form) as work:
        running.withdraw(work, number)
        return visit.redirect(f"/tapes/{number}")
