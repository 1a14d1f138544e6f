"""What demonstrators ask for: a tape or a program for a day."""

from datetime import date, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.paging import PageOut, page_out
from server.api.problems import CHANGE, responses
from server.api.revisions import CREATING, READING, Revised, marked
from server.catalog import tape_request_records, tape_requests
from server.catalog.request_values import (
    Handing,
    NewRequest,
    Punched,
    RequestQuery,
    RequestRecord,
    RequestStatus,
    Withdrawal,
)
from server.inspection import Fields

router = APIRouter(prefix="/requests", tags=["requests"])

RequestId = Annotated[int, Path(description="Number of the request.", ge=1, le=2**31 - 1)]

TOLD = responses("not-signed-in", "not-allowed", "not-found", "invalid")
STEP = responses(*CHANGE, "not-found", "conflict", "quarantined")


class RequestRowOut(Fields):
    """A request in a list."""

    id: int = Field(description="Number of the request.")
    title: str = Field(description="Title of what is wanted.")
    tape: str | None = Field(description="Accession number of the tape that is wanted, or null.")
    program: int | None = Field(description="Number of the program that is wanted, or null.")
    wanted_on: date = Field(description="Day for which it is wanted.")
    purpose: str = Field(description="What for.")
    status: RequestStatus = Field(description="How far it has come.")
    asked_by: str = Field(description="Who asked for it.")
    days: int | None = Field(description="Days until it is wanted, while it is open; or null.")


class RequestOut(Revised):
    """A request, and what could settle it while it is open."""

    id: int = Field(description="Number of the request.")
    title: str = Field(description="Title of what is wanted.")
    tape: str | None = Field(description="Accession number of the tape that is wanted, or null.")
    program: int | None = Field(description="Number of the program that is wanted, or null.")
    wanted_on: date = Field(description="Day for which it is wanted.")
    purpose: str = Field(description="What for.")
    status: RequestStatus = Field(description="How far it has come.")
    asked_at: datetime = Field(description="When it was asked for, in UTC.")
    asked_by: str = Field(description="Who asked for it.")
    settled_at: datetime | None = Field(description="When it was settled, in UTC, or null.")
    settled_by: str | None = Field(description="By whom, or null.")
    punching: int | None = Field(description="The punching that settled it, or null.")
    handed: str | None = Field(description="Accession number of the tape handed out, or null.")
    note: str = Field(description="Why it was withdrawn.")
    days: int | None = Field(description="Days until it is wanted, while it is open; or null.")
    tapes: list[str] = Field(description="Accession numbers of the tapes that carry it.")
    images: list[str] = Field(description="Names of the images to punch it from.")
    punchings: list[int] = Field(description="Punchings of it since it was asked for.")


def _out(record: RequestRecord) -> RequestOut:
    lists = {
        "tapes": [tape.accession_number for tape, _ in record.tapes],
        "images": [sha256 for sha256, _ in record.images],
        "punchings": [row.id for row in record.punchings],
    }
    plain = {name: getattr(record, name) for name in RequestOut.model_fields if name not in lists}
    return RequestOut.model_validate(plain | lists)


@router.get("", dependencies=SIGNED_IN, responses=TOLD)
def list_requests(
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[RequestQuery, Query()],
) -> PageOut[RequestRowOut]:
    """Requests (volunteers), newest first; open ones by the day on which they are wanted."""
    with caller.reading() as work:
        return page_out(request, response, tape_request_records.page(work, query), RequestRowOut)


@router.post("", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def ask_for_tape(
    request: Request, response: Response, caller: CallerDep, new: NewRequest
) -> RequestOut:
    """Ask for a tape, or any tape of a program, for a day (volunteers)."""
    with caller.work() as work:
        asked = _out(tape_requests.ask(work, new))
    response.headers["Location"] = address(request, "get_request", request_id=asked.id)
    return marked(response, asked)


@router.get("/{request_id}", dependencies=SIGNED_IN, responses=READING | TOLD)
def get_request(request_id: RequestId, response: Response, caller: CallerDep) -> RequestOut:
    """A request (volunteers)."""
    with caller.reading() as work:
        return marked(response, _out(tape_request_records.get(work, request_id)))


@router.post("/{request_id}/punched", dependencies=SIGNED_IN, responses=STEP)
def settle_by_punching(request_id: RequestId, caller: CallerDep, given: Punched) -> RequestOut:
    """Say which punching settles a request (volunteers); it gave a tape since it was asked for."""
    with caller.work() as work:
        return _out(tape_requests.punched(work, request_id, given))


@router.post("/{request_id}/hand-out", dependencies=SIGNED_IN, responses=STEP)
def settle_by_handing_out(request_id: RequestId, caller: CallerDep, given: Handing) -> RequestOut:
    """Hand a tape out within the house (volunteers): it is moved to where it is shown."""
    with caller.work() as work:
        return _out(tape_requests.hand_out(work, request_id, given))


@router.post("/{request_id}/withdraw", dependencies=SIGNED_IN, responses=STEP)
def withdraw_request(request_id: RequestId, caller: CallerDep, given: Withdrawal) -> RequestOut:
    """Say that nothing comes of a request (whoever asked, and archivists)."""
    with caller.work() as work:
        return _out(tape_requests.withdraw(work, request_id, given))
