"""Queues of work: what needs somebody's help, and what each person took on."""

from datetime import date
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.caller import SIGNED_IN, CallerDep
from server.api.paging import PageOut, page_out
from server.api.problems import responses
from server.catalog import own_list
from server.catalog.queues import About, held_in, listable, queue_of
from server.catalog.records import VerifiedBy
from server.catalog.tape_values import PageQuery
from server.catalog.vocabulary import Condition
from server.catalog.work import Role
from server.inspection import Fields
from server.tape.findings import CheckStatus

router = APIRouter(prefix="/queues", tags=["queues"])

Name = Annotated[str, Path(description="Name of the queue, such as `unread`.")]
Key = Annotated[
    str,
    Path(
        description="An entry: accession number of a tape, SHA-256 of an image, or for a pair the "
        "SHA-256 of both with a hyphen between; of a request its number."
    ),
]


class QueueOut(Fields):
    """A queue of work, and how much it holds."""

    name: str = Field(description="Name of the queue.")
    title: str = Field(description="What it is called.")
    meaning: str = Field(description="What it holds.")
    todo: str = Field(description="What is to be done about it.")
    role: Role = Field(description="The least role that settles what it holds.")
    about: About = Field(description="What an entry is: `tape`, `image`, `pair` or `request`.")
    count: int = Field(description="How much it holds, counted up to 1,000.")
    more: bool = Field(description="Whether it holds more than `count`.")


class StepOut(Fields):
    """What settles an entry."""

    words: str = Field(description="What is to be done.")
    address: str = Field(description="Path of the page where it is done.")
    role: Role = Field(description="The least role that may do it.")


class EntryOut(Fields):
    """One thing in a queue."""

    key: str = Field(description="What it goes by in addresses of the own list.")
    title: str = Field(description="Best name there is for it.")
    tape: str | None = Field(description="Accession number of its tape, or null.")
    image: str | None = Field(description="Name of its image, of a tape the newest, or null.")
    other: str | None = Field(description="Of a pair: name of the second image.")
    other_title: str = Field(description="Of a pair: best name there is for the second.")
    other_tape: str | None = Field(description="Of a pair: accession number of the second.")
    detail: str = Field(
        description="Of a pair: how the second relates to the first; else what the queue tells."
    )
    request: int | None = Field(description="Number of the request, or null.")
    format: str | None = Field(description="Record format of the image.")
    place: str = Field(description="Where the tape is kept.")
    check_status: CheckStatus | None = Field(description="What the image's own checks say.")
    verification: VerifiedBy | None = Field(description="Why the image is trusted.")
    condition: Condition | None = Field(description="How the tape stands.")
    quarantined: bool = Field(description="Whether the tape must not be handled.")
    do_not_run: bool = Field(description="Whether no reader may have the tape.")
    last_report: date | None = Field(description="Day of the newest condition report.")
    steps: list[StepOut] = Field(description="What settles it.")
    mine: bool = Field(description="Whether it is on the list of whoever asks.")
    taken_by: list[str] = Field(description="Who else has it on theirs; told to volunteers.")


class OwnPartOut(Fields):
    """What is on one's own list from one queue."""

    queue: QueueOut = Field(description="The queue; its count is of this list.")
    entries: list[EntryOut] = Field(description="What was taken on from it and is not settled.")


class OwnListOut(Fields):
    """What the person who asks took on and is not settled."""

    parts: list[OwnPartOut] = Field(description="By queue.")


@router.get("", responses=responses())
def list_queues(caller: CallerDep) -> list[QueueOut]:
    """All queues of work with how much each holds."""
    with caller.reading() as work:
        counted = held_in.counts(work, caller.settings.report_years)
        return [QueueOut.model_validate(each) for each in counted]


@router.get("/mine", dependencies=SIGNED_IN, responses=responses("not-signed-in", "not-allowed"))
def get_own_list(caller: CallerDep) -> OwnListOut:
    """What one took on oneself (volunteers); what is settled has left it by itself."""
    with caller.reading() as work:
        parts = own_list.mine(work, caller.settings.report_years)
        return OwnListOut(parts=[OwnPartOut.model_validate(part) for part in parts])


@router.get("/{name}", responses=responses("not-found", "invalid"))
def get_queue(
    name: Name,
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[PageQuery, Query()],
) -> PageOut[EntryOut]:
    """What a queue holds, a page at a time."""
    years = caller.settings.report_years
    with caller.reading() as work:
        page = held_in.page(work, queue_of(name), years, query.page, query.page_size)
        return page_out(request, response, page, EntryOut)


@router.put(
    "/{name}/mine/{key}",
    status_code=HTTPStatus.NO_CONTENT,
    dependencies=SIGNED_IN,
    responses=responses("not-found", "not-allowed", "not-from-here", "conflict", "invalid"),
)
def put_on_own_list(name: Name, key: Key, caller: CallerDep) -> None:
    """Put an entry of a queue on one's own list (volunteers); once there, it stays as it is.

    The queues `tapes-by-hand` and `images-by-hand` take any tape or image, until it is taken off.
    """
    years = caller.settings.report_years
    with caller.work() as work:
        queue = listable(name)
        if not own_list.has(work, queue, key):
            own_list.put_on(work, queue, key, years)


@router.delete(
    "/{name}/mine/{key}",
    status_code=HTTPStatus.NO_CONTENT,
    dependencies=SIGNED_IN,
    responses=responses("not-found", "not-allowed", "not-from-here", "invalid"),
)
def take_off_own_list(name: Name, key: Key, caller: CallerDep) -> None:
    """Take an entry off one's own list (volunteers)."""
    with caller.work() as work:
        own_list.take_off(work, listable(name), key)
