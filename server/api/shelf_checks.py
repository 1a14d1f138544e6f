"""Shelf checks: what should lie in a place, held against what does."""

from datetime import datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.paging import PageOut, page_out
from server.api.places import PlaceLinkOut
from server.api.problems import CHANGE, responses
from server.api.revisions import CREATING, READING, Revised, marked
from server.catalog import shelf_check_records, shelf_checks
from server.catalog.inputs import Input
from server.catalog.shelf_check_values import CheckQuery, Closing, Found, Outcome, Seen
from server.catalog.tape_values import RecordNumber
from server.inspection import Fields

router = APIRouter(prefix="/shelf-checks", tags=["shelf checks"])

CheckId = Annotated[int, Path(description="Number of the check.", ge=1, le=2**31 - 1)]

TOLD = responses("not-signed-in", "not-allowed", "not-found", "invalid")
STEP = responses(*CHANGE, "not-found", "conflict")


class NewCheck(Input):
    """The place that is to be looked through."""

    place: Annotated[RecordNumber, Field(description="Number of the place.")]


class NotFoundAfterAll(Input):
    """Tapes that were noted as seen and were not."""

    tapes: Seen


class CheckRowOut(Fields):
    """A check in a list."""

    id: int = Field(description="Number of the check.")
    place: PlaceLinkOut = Field(description="The place that is looked through.")
    begun: datetime = Field(description="When it was begun, in UTC.")
    begun_by: str = Field(description="By whom.")
    closed: datetime | None = Field(description="When it was closed, in UTC, or null.")
    expected: int = Field(description="Tapes that should be there.")
    found: int = Field(description="Those of them that were seen.")
    differing: int | None = Field(description="Tapes that differ, once it is closed; or null.")


class CheckItemOut(Fields):
    """A tape in a check."""

    tape: str = Field(description="Accession number of the tape.")
    title: str = Field(description="Its title.")
    expected: PlaceLinkOut | None = Field(description="Where it should be, or null.")
    expected_where: str = Field(description="The same as it was written when it came in.")
    found: PlaceLinkOut | None = Field(description="Where it was seen, or null.")
    at: datetime | None = Field(description="When, in UTC, or null.")
    by: str = Field(description="By whom.")
    outcome: Outcome = Field(description="What becomes of it as the check is closed.")
    quarantined: bool = Field(description="Whether it is held apart and must not be handled.")
    do_not_run: bool = Field(description="Whether no reader may have it without permission.")


class CheckOut(Revised):
    """A check with all of its tapes."""

    id: int = Field(description="Number of the check.")
    place: PlaceLinkOut = Field(description="The place that is looked through.")
    inside: list[PlaceLinkOut] = Field(description="That place and all that stands in it.")
    begun: datetime = Field(description="When it was begun, in UTC.")
    begun_by: str = Field(description="By whom.")
    closed: datetime | None = Field(description="When it was closed, in UTC, or null.")
    closed_by: str | None = Field(description="By whom, or null.")
    note: str = Field(description="What was noted as it was closed.")
    expected: int = Field(description="Tapes that should be there.")
    found: int = Field(description="Those of them that were seen.")
    items: list[CheckItemOut] = Field(description="The tapes, box after box.")


@router.get("", dependencies=SIGNED_IN, responses=TOLD)
def list_shelf_checks(
    request: Request, response: Response, caller: CallerDep, query: Annotated[CheckQuery, Query()]
) -> PageOut[CheckRowOut]:
    """Shelf checks, newest first (volunteers): of one place, or all."""
    with caller.reading() as work:
        return page_out(request, response, shelf_check_records.page(work, query), CheckRowOut)


@router.post("", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def begin_shelf_check(
    request: Request, response: Response, caller: CallerDep, new: NewCheck
) -> CheckOut:
    """Begin to look through a place (volunteers); what lies there now is expected."""
    with caller.work() as work:
        check = CheckOut.model_validate(shelf_checks.begin(work, new.place))
    response.headers["Location"] = address(request, "get_shelf_check", check_id=check.id)
    return marked(response, check)


@router.get("/{check_id}", dependencies=SIGNED_IN, responses=READING | TOLD)
def get_shelf_check(check_id: CheckId, response: Response, caller: CallerDep) -> CheckOut:
    """A shelf check (volunteers); once it is closed, its report."""
    with caller.reading() as work:
        return marked(response, CheckOut.model_validate(shelf_check_records.get(work, check_id)))


@router.post("/{check_id}/found", dependencies=SIGNED_IN, responses=STEP)
def note_found(check_id: CheckId, caller: CallerDep, found: Found) -> CheckOut:
    """Note tapes that were seen (volunteers), in the place given or where they are expected."""
    with caller.work() as work:
        return CheckOut.model_validate(shelf_checks.find(work, check_id, found))


@router.post("/{check_id}/not-found", dependencies=SIGNED_IN, responses=STEP)
def note_not_found(check_id: CheckId, caller: CallerDep, given: NotFoundAfterAll) -> CheckOut:
    """Take back that tapes were seen (volunteers)."""
    with caller.work() as work:
        return CheckOut.model_validate(shelf_checks.take_back(work, check_id, given.tapes))


@router.post("/{check_id}/close", dependencies=SIGNED_IN, responses=STEP)
def close_shelf_check(check_id: CheckId, caller: CallerDep, closing: Closing) -> CheckOut:
    """Close a check with a report (volunteers), and enter what differs as moves if wished."""
    with caller.work() as work:
        return CheckOut.model_validate(shelf_checks.close(work, check_id, closing))
