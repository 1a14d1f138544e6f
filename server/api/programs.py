"""Programs: what tapes carry, in versions that each have one exact content."""

from datetime import datetime
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import Field

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.models import TapeLinkOut
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
from server.catalog import programs
from server.catalog.program_values import (
    AttributedTo,
    Certainty,
    LinkKind,
    NewProgram,
    NewVersion,
    ProgramChange,
    ProgramQuery,
)
from server.catalog.records import VerifiedBy
from server.catalog.vocabulary import Access
from server.inspection import Fields
from server.tape.findings import CheckStatus

router = APIRouter(prefix="/programs", tags=["programs"])

ProgramId = Annotated[int, Path(description="Number of the program.", ge=1, le=2**31 - 1)]


class ProgramRowOut(Fields):
    """A program in a list."""

    id: int = Field(description="Number of the program.")
    title: str = Field(description="Its title.")
    language: str = Field(description="Programming language.")
    machine: str = Field(description="The machine that it needs.")
    versions: int = Field(description="How many versions there are.")
    tapes: int = Field(description="How many tapes carry it.")


class VersionOut(Fields):
    """One exact content of a program."""

    id: int = Field(description="Number of the version.")
    label: str = Field(description="What the version is called.")
    sha256: str = Field(description="Its master image, from which we punch.")
    note: str = Field(description="What sets it apart.")
    added: datetime = Field(description="When it was entered, in UTC.")
    format: str = Field(description="Record format of the master image.")
    check_status: CheckStatus = Field(description="What the tape's own checks say.")
    verification: VerifiedBy = Field(description="Why the master image is trusted.")
    instructions: str = Field(description="How it is used, where that differs.")
    faults: str = Field(description="What is known to be wrong with it.")
    revision: int = Field(description="Revision of what is said of it, from 1.")


class AttributionOut(Fields):
    """A note on who wrote a program or where it comes from."""

    about: AttributedTo = Field(description="`author` or `origin`.")
    note: str = Field(description="What is known, in free words.")
    certainty: Certainty = Field(description="How sure that is.")


class LinkOut(Fields):
    """How the program stands to another one."""

    id: int = Field(description="Number of the link.")
    kind: LinkKind = Field(description="What the link says, read from where it begins.")
    words: str = Field(description="The same, read from this program to the other.")
    made_here: bool = Field(description="Whether it begins at this program.")
    program: int = Field(description="Number of the other program.")
    title: str = Field(description="Title of the other program.")
    note: str = Field(description="What is known of it.")


class ProgramOut(Revised):
    """A program, its versions, and the tapes that carry it."""

    id: int = Field(description="Number of the program.")
    title: str = Field(description="Its title.")
    variant_titles: list[str] = Field(description="What else it is or was called.")
    language: str = Field(description="Programming language.")
    machine: str = Field(description="The class of machine that it needs.")
    memory: str = Field(description="How much memory it needs, as its people counted it.")
    peripherals: list[str] = Field(description="What must be connected to the machine.")
    description: str = Field(description="What it does.")
    instructions: str = Field(description="How it is used.")
    faults: str = Field(description="What is known to be wrong with it.")
    attributions: list[AttributionOut] = Field(
        description="Notes on who wrote it and where it comes from, each with how sure it is."
    )
    rights: str = Field(description="Who may do what with it, in words.")
    rights_uri: str = Field(description="Statement of RightsStatements.org, by its address.")
    licence: str = Field(description="SPDX licence expression.")
    access: Access = Field(description="Who may see it.")
    created: datetime = Field(description="When the record was made, in UTC.")
    changed: datetime = Field(description="When the record was last changed, in UTC.")
    links: list[LinkOut] = Field(description="How it stands to other programs.")
    versions: list[VersionOut] = Field(description="Its versions, newest first.")
    tapes: list[TapeLinkOut] = Field(description="Tapes that carry it.")


@router.get("", responses=responses("invalid"))
def list_programs(
    request: Request,
    response: Response,
    caller: CallerDep,
    query: Annotated[ProgramQuery, Query()],
) -> PageOut[ProgramRowOut]:
    """Programs, a page at a time."""
    with caller.reading() as work:
        return page_out(request, response, programs.page(work, query), ProgramRowOut)


@router.post("", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def create_program(
    request: Request, response: Response, caller: CallerDep, new: NewProgram
) -> ProgramOut:
    """Enter a program (archivists)."""
    with caller.work() as work:
        program = ProgramOut.model_validate(programs.create(work, new))
    response.headers["Location"] = address(request, "get_program", program_id=program.id)
    return marked(response, program)


@router.get("/{program_id}", responses=READING | responses("not-found", "invalid"))
def get_program(program_id: ProgramId, response: Response, caller: CallerDep) -> ProgramOut:
    """A program, its versions, and the tapes that carry it."""
    with caller.reading() as work:
        return marked(response, ProgramOut.model_validate(programs.get(work, program_id)))


@router.patch("/{program_id}", dependencies=SIGNED_IN, openapi_extra=IF_MATCH, responses=CHANGING)
def change_program(
    program_id: ProgramId,
    response: Response,
    caller: CallerDep,
    revision: RevisionDep,
    change: ProgramChange,
) -> ProgramOut:
    """Change what is given of a program, and nothing else (archivists)."""
    with caller.work() as work:
        program = programs.change(work, program_id, change, revision)
        return marked(response, ProgramOut.model_validate(program))


@router.post(
    "/{program_id}/versions",
    status_code=HTTPStatus.CREATED,
    dependencies=SIGNED_IN,
    responses=CREATING,
)
def add_version(
    program_id: ProgramId,
    request: Request,
    response: Response,
    caller: CallerDep,
    new: NewVersion,
) -> ProgramOut:
    """Name an image as one more version of a program (archivists)."""
    with caller.work() as work:
        program = ProgramOut.model_validate(programs.add_version(work, program_id, new))
    response.headers["Location"] = address(request, "get_program", program_id=program_id)
    return marked(response, program)
