"""Tapes: the physical objects, with where they came from and how they stand."""

from datetime import date, datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.images import Sha256
from server.api.models import ReadingOut
from server.api.paging import PageOut, page_out
from server.api.problems import CHANGE, responses
from server.api.revisions import (
    CHANGING,
    CREATING,
    IF_MATCH,
    READING,
    Revised,
    RevisionDep,
    marked,
)
from server.catalog import condition, deaccession, running, tapes
from server.catalog.deaccession import Departure
from server.catalog.held import require_here, tape_of
from server.catalog.records import VerifiedBy
from server.catalog.tape_values import NewTape, TapeChange, TapeQuery
from server.catalog.vocabulary import Access, Acquired, Condition, Hazard, TapeForm
from server.catalog.work import Role
from server.inspection import Fields
from server.tape.findings import CheckStatus

router = APIRouter(prefix="/tapes", tags=["tapes"])

PERMITTING = responses(*CHANGE, "not-found", "conflict", "quarantined")

Number = Annotated[str, Path(description="Accession number of the tape, such as 1978.12.")]


class TapeRowOut(Fields):
    """A tape in a list, with what its newest image says; null where it has none."""

    accession_number: str = Field(description="Accession number: year, item, part.")
    title: str = Field(description="Title of the tape.")
    program: int | None = Field(description="Number of the program that it carries, or null.")
    program_title: str | None = Field(description="Title of that program.")
    format: str | None = Field(description="Record format of its newest image.")
    check_status: CheckStatus | None = Field(description="What the tape's own checks say.")
    verification: VerifiedBy = Field(description="Why its newest image is trusted.")
    condition: Condition = Field(description="How the tape stands.")
    quarantined: bool = Field(description="Whether it is held apart and must not be handled.")
    do_not_run: bool = Field(description="Whether no reader may have it without permission.")
    loader_requirement: str = Field(description="What the machine needs before it reads it.")
    medium: str = Field(description="What it is made of.")
    levels: int | None = Field(description="Code holes across the tape.")
    place: str = Field(description="Where it is kept.")
    sha256: str | None = Field(description="Name of its newest image.")
    kin: int = Field(description="How many other images resemble that one.")


class TapeImageOut(Fields):
    """The newest image of a tape, in short; the whole is under /images."""

    sha256: str = Field(description="Name of the image.")
    bytes: int = Field(description="Number of frames, one byte each.")
    format: str = Field(description="Record format.")
    check_status: CheckStatus = Field(description="What the tape's own checks say.")


class TapeOut(Revised):
    """A tape and all that is known about it."""

    accession_number: str = Field(description="Accession number: year, item, part.")
    title: str = Field(description="Title of the tape.")
    program: int | None = Field(description="Number of the program that it carries, or null.")
    program_title: str | None = Field(description="Title of that program.")
    origin: str = Field(description="Where it came from.")
    medium: str = Field(description="What it is made of.")
    levels: int | None = Field(description="Code holes across the tape.")
    width_mm: float | None = Field(description="Nominal width, in millimetres.")
    condition: Condition = Field(description="How the tape stands.")
    hazard: Hazard = Field(description="What makes it dangerous to handle.")
    quarantined: bool = Field(description="Whether it is held apart and must not be handled.")
    do_not_run: bool = Field(description="Whether no reader may have it without permission.")
    cautions: str = Field(description="What whoever handles it must know first.")
    place: str = Field(description="Where it is kept.")
    loader_requirement: str = Field(description="What the machine needs before it reads it.")
    made: str | None = Field(description="When it was made, as in ISO 8601-2: 1978, 197X, 1978~.")
    notes: str = Field(description="Anything else.")
    created: datetime = Field(description="When the record was made, in UTC.")
    changed: datetime = Field(description="When the record was last changed, in UTC.")
    image: TapeImageOut | None = Field(description="Its newest image, or null.")
    readings: list[ReadingOut] = Field(description="Every reading of the tape.")
    punching: int | None = Field(description="The punching that made it, if it is a copy, or null.")
    colour: str = Field(description="Colour of the material.")
    form: TapeForm = Field(description="How it is kept together; empty where nobody said.")
    core: str = Field(description="What a roll is wound on.")
    measured_width_mm: float | None = Field(description="Width as measured, in millimetres.")
    measured_length_m: float | None = Field(description="Length as measured, in metres.")
    mismeasured: list[str] = Field(description="Where that does not fit its image or its levels.")
    inscriptions: str = Field(description="Labels and handwriting, as they stand on it.")
    acquired_from: str | None = Field(description="From whom; null for visitors.")
    acquired_on: str | None = Field(description="When it came, as in ISO 8601-2.")
    acquired_how: Acquired = Field(description="How it came; empty where nobody said.")
    acquisition_note: str | None = Field(description="Private notes; null but for archivists.")
    rights_uri: str = Field(description="Statement of RightsStatements.org, by its address.")
    licence: str = Field(description="SPDX licence expression.")
    rights_note: str = Field(description="What else is to be said of its rights.")
    access: Access = Field(description="Who may see it.")
    deaccessioned_on: date | None = Field(
        description="Day on which it left the collection; null while it is in it."
    )


class DeaccessionOut(Fields):
    """That a tape left the collection, and whether it came back since."""

    decided_on: date = Field(description="Day of the decision.")
    authority: str = Field(description="Who decided.")
    reason: str = Field(description="Why it left.")
    method: Departure = Field(description="How it left.")
    recipient: str | None = Field(description="Who has it; null for visitors.")
    note: str | None = Field(description="What was checked; null but for archivists.")
    recorded: datetime = Field(description="When this was entered, in UTC.")
    by: str = Field(description="Who entered it.")
    ended: datetime | None = Field(description="When it was taken back, in UTC, or null.")
    ended_by: str | None = Field(description="Who entered that, or null.")
    ended_why: str = Field(description="How it came back.")


@router.get("", responses=responses("invalid"))
def list_tapes(
    request: Request, response: Response, caller: CallerDep, query: Annotated[TapeQuery, Query()]
) -> PageOut[TapeRowOut]:
    """Tapes, a page at a time.

    Several values of one field mean any of them; several fields mean all.
    """
    with caller.reading() as work:
        return page_out(request, response, tapes.page(work, query), TapeRowOut)


@router.post("", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def create_tape(request: Request, response: Response, caller: CallerDep, new: NewTape) -> TapeOut:
    """Enter a tape (volunteers). Without an accession number it is given the next of the year."""
    with caller.work() as work:
        tape = TapeOut.model_validate(tapes.create(work, new))
    response.headers["Location"] = address(request, "get_tape", number=tape.accession_number)
    return marked(response, tape)


@router.get("/{number}", responses=READING | responses("gone"))
def get_tape(number: Number, response: Response, caller: CallerDep) -> TapeOut:
    """A tape and all that is known about it; for visitors none that left the collection."""
    with caller.reading() as work:
        if not work.actor.role.includes(Role.VOLUNTEER):
            require_here(tape_of(work, number))
        return marked(response, TapeOut.model_validate(tapes.get(work, number)))


@router.patch("/{number}", dependencies=SIGNED_IN, openapi_extra=IF_MATCH, responses=CHANGING)
def change_tape(
    number: Number, response: Response, caller: CallerDep, revision: RevisionDep, change: TapeChange
) -> TapeOut:
    """Change what is given of a tape, and nothing else (volunteers)."""
    with caller.work() as work:
        return marked(
            response, TapeOut.model_validate(tapes.change(work, number, change, revision))
        )


@router.put("/{number}/images/{sha256}", dependencies=SIGNED_IN, responses=CHANGING)
def attach_image(number: Number, sha256: Sha256, response: Response, caller: CallerDep) -> TapeOut:
    """Enter an image that is held as a reading of this tape (volunteers)."""
    with caller.work() as work:
        return marked(response, TapeOut.model_validate(tapes.attach(work, number, sha256)))


@router.post("/{number}/release", dependencies=SIGNED_IN, responses=CHANGING)
def release_tape(
    number: Number, response: Response, caller: CallerDep, given: condition.Release
) -> TapeOut:
    """End the quarantine of a tape (archivists), after it was examined."""
    with caller.work() as work:
        condition.release(work, number, given.note)
        return marked(response, TapeOut.model_validate(tapes.get(work, number)))


class PermissionOut(Fields):
    """An archivist's word that a tape may be run although it should not."""

    by: str = Field(description="Who gave it.")
    reason: str = Field(description="Why.")
    granted: datetime = Field(description="When, in UTC.")
    valid_until: datetime = Field(description="Until when it holds, in UTC; for one reading.")


class RunningOut(Fields):
    """Whether a reader may have a tape now."""

    accession_number: str = Field(description="Accession number of the tape.")
    title: str = Field(description="Its title.")
    may_run: bool = Field(description="Whether a reader may have it now.")
    do_not_run: bool = Field(description="Whether no reader may have it without permission.")
    warnings: list[str] = Field(description="What to heed, the gravest first.")
    permission: PermissionOut | None = Field(description="The word that allows it, or null.")


@router.get("/{number}/running", responses=responses("not-found"))
def get_running(number: Number, caller: CallerDep) -> RunningOut:
    """Whether a reader may have the tape now: what a station asks before it reads."""
    with caller.reading() as work:
        return RunningOut.model_validate(running.of(work, number))


@router.put("/{number}/running/permission", dependencies=SIGNED_IN, responses=PERMITTING)
def permit_running(number: Number, caller: CallerDep, given: running.Permit) -> RunningOut:
    """Let a tape be read once, within a day, although it should not be run (archivists)."""
    with caller.work() as work:
        running.permit(work, number, given.reason)
        return RunningOut.model_validate(running.of(work, number))


@router.delete("/{number}/running/permission", dependencies=SIGNED_IN, responses=PERMITTING)
def withdraw_permission(number: Number, caller: CallerDep) -> RunningOut:
    """Take the permission back (archivists)."""
    with caller.work() as work:
        running.withdraw(work, number)
        return RunningOut.model_validate(running.of(work, number))


@router.get("/{number}/deaccessions", responses=responses("not-found"))
def get_deaccessions(number: Number, caller: CallerDep) -> list[DeaccessionOut]:
    """How often the tape left the collection, the last time first; mostly never."""
    with caller.reading() as work:
        return [DeaccessionOut.model_validate(each) for each in deaccession.of(work, number)]


@router.post(
    "/{number}/deaccessions",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    responses=CHANGING | responses("gone"),
)
def deaccession_tape(
    number: Number, caller: CallerDep, new: deaccession.NewDeaccession
) -> DeaccessionOut:
    """Take a tape out of the collection (archivists); its record stays."""
    with caller.work() as work:
        return DeaccessionOut.model_validate(deaccession.record(work, number, new))


@router.post("/{number}/reaccession", dependencies=SIGNED_IN, responses=CHANGING)
def reaccession_tape(
    number: Number, caller: CallerDep, given: deaccession.Return
) -> DeaccessionOut:
    """Make a tape that left one of the collection again (archivists)."""
    with caller.work() as work:
        return DeaccessionOut.model_validate(deaccession.take_back(work, number, given.why))
