"""Condition reports: dated observations of physical tapes."""

from datetime import date, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.paging import PageOut, page_out
from server.api.problems import responses
from server.api.revisions import (
    CHANGING,
    CREATING,
    IF_MATCH,
    READING,
    Revised,
    RevisionDep,
    marked,
)
from server.catalog import condition
from server.catalog.condition_values import NewReport, ReportChange
from server.catalog.defect_words import DefectKind
from server.catalog.inputs import OrNone
from server.catalog.tape_values import AccessionNumber, PageQuery
from server.catalog.vocabulary import (
    Action,
    Condition,
    DefectSeverity,
    Extent,
    Handling,
    Hazard,
    Method,
    Reason,
    Urgency,
)
from server.inspection import Fields

router = APIRouter(prefix="/condition-reports", tags=["condition reports"])

ReportId = Annotated[int, Path(description="Number of the report.", ge=1, le=2**31 - 1)]


class ReportQuery(PageQuery):
    """Which reports: those of one tape, or all."""

    tape: Annotated[AccessionNumber | None, OrNone] = None


class DefectOut(Fields):
    """One thing wrong with a tape."""

    kind: DefectKind = Field(description="What is wrong.")
    severity: DefectSeverity = Field(description="How much it matters.")
    extent: Extent | None = Field(description="How far it reaches, in words, or null.")
    position_mm: float | None = Field(
        description="Distance from the first frame, in millimetres; null where it has no place."
    )
    length_mm: float | None = Field(
        description="How far it reaches from there, in millimetres, or null."
    )
    note: str = Field(description="Anything else.")


class ReportOut(Revised):
    """A condition report, as last amended."""

    id: int = Field(description="Number of the report.")
    tape: str = Field(description="Accession number of the tape.")
    tape_title: str = Field(description="Its title.")
    checked_on: date = Field(description="Day of the observation.")
    by: str = Field(description="Who logged it.")
    state: Condition = Field(description="How the tape stands.")
    reason: Reason = Field(description="Why it was looked at.")
    method: Method = Field(description="How it was looked at.")
    defects: list[DefectOut] = Field(description="What is wrong with it.")
    machine_readable: bool | None = Field(
        description="Whether a reader took it; null where it was not tried."
    )
    advice: str = Field(description="How to handle it.")
    hazard: Hazard = Field(description="What makes it dangerous to handle.")
    handling: Handling = Field(description="How the tape may be handled.")
    action: Action = Field(description="What should be done with it.")
    urgency: Urgency = Field(description="How soon that should be done.")
    next_check: date | None = Field(description="When it is to be looked at next, or null.")
    do_not_run: bool = Field(description="Whether the report says that no reader may have it.")
    cautions: str = Field(description="What whoever handles it must know first.")
    logged: datetime = Field(description="When the report was logged, in UTC.")


@router.get("", responses=responses("not-found", "invalid"))
def list_reports(
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[ReportQuery, Query()],
) -> PageOut[ReportOut]:
    """Condition reports, newest first, of all tapes or of one, a page at a time."""
    with caller.reading() as work:
        page = condition.page(work, query.tape, query.page, query.page_size)
        return page_out(request, response, page, ReportOut)


@router.post("", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def log_report(
    request: Request, response: Response, caller: CallerDep, new: NewReport
) -> ReportOut:
    """Log a condition report (volunteers). One that names a hazard puts the tape in quarantine.

    A report sent with a `key` is kept once, however often it is sent.
    """
    with caller.work() as work:
        report = ReportOut.model_validate(condition.log(work, new))
    response.headers["Location"] = address(request, "get_report", report_id=report.id)
    return marked(response, report)


@router.get("/{report_id}", responses=READING | responses("not-found", "invalid"))
def get_report(report_id: ReportId, response: Response, caller: CallerDep) -> ReportOut:
    """A condition report, as last amended."""
    with caller.reading() as work:
        return marked(response, ReportOut.model_validate(condition.get(work, report_id)))


@router.patch("/{report_id}", dependencies=SIGNED_IN, openapi_extra=IF_MATCH, responses=CHANGING)
def amend_report(
    report_id: ReportId,
    response: Response,
    caller: CallerDep,
    revision: RevisionDep,
    change: ReportChange,
) -> ReportOut:
    """Put right what is given of a report, and nothing else; what it said before is kept."""
    with caller.work() as work:
        return marked(
            response, ReportOut.model_validate(condition.amend(work, report_id, change, revision))
        )
