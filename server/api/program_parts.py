"""Programs as wholes: linked, merged and split; and what is said of a version."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from server.api.addresses import address
from server.api.caller import SIGNED_IN, CallerDep
from server.api.programs import ProgramId, ProgramOut
from server.api.revisions import CHANGING, CREATING, IF_MATCH, RevisionDep, marked
from server.catalog import links, program_merging, program_splitting, versions
from server.catalog.program_merging import NewProgramMerge
from server.catalog.program_splitting import NewSplit
from server.catalog.program_values import NewLink, VersionChange

router = APIRouter(prefix="/programs/{program_id}", tags=["programs"])

LinkId = Annotated[int, Path(description="Number of the link.", ge=1, le=2**31 - 1)]
VersionId = Annotated[int, Path(description="Number of the version.", ge=1, le=2**31 - 1)]


@router.post("/links", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def add_link(
    program_id: ProgramId, request: Request, response: Response, caller: CallerDep, new: NewLink
) -> ProgramOut:
    """Link a program to another one (archivists)."""
    with caller.work() as work:
        program = ProgramOut.model_validate(links.add(work, program_id, new))
    response.headers["Location"] = address(request, "get_program", program_id=program_id)
    return marked(response, program)


@router.delete("/links/{link_id}", dependencies=SIGNED_IN, responses=CHANGING)
def remove_link(
    program_id: ProgramId, link_id: LinkId, response: Response, caller: CallerDep
) -> ProgramOut:
    """Take a link between two programs away (archivists); both histories keep it."""
    with caller.work() as work:
        program = links.remove(work, program_id, link_id)
        return marked(response, ProgramOut.model_validate(program))


@router.post("/merge", dependencies=SIGNED_IN, responses=CHANGING)
def merge_program(
    program_id: ProgramId, response: Response, caller: CallerDep, new: NewProgramMerge
) -> ProgramOut:
    """Merge the program into another one, which is given (archivists).

    The address of the merged program leads to the other from then on.
    """
    with caller.work() as work:
        into = program_merging.merge(work, program_id, new)
        return marked(response, ProgramOut.model_validate(into))


@router.post("/split", status_code=HTTPStatus.CREATED, dependencies=SIGNED_IN, responses=CREATING)
def split_program(
    program_id: ProgramId, request: Request, response: Response, caller: CallerDep, new: NewSplit
) -> ProgramOut:
    """Make a program of some versions and tapes of another one (archivists); gives the new one."""
    with caller.work() as work:
        program = ProgramOut.model_validate(program_splitting.split(work, program_id, new))
    response.headers["Location"] = address(request, "get_program", program_id=program.id)
    return marked(response, program)


@router.patch(
    "/versions/{version_id}", dependencies=SIGNED_IN, openapi_extra=IF_MATCH, responses=CHANGING
)
def change_version(
    program_id: ProgramId,
    version_id: VersionId,
    response: Response,
    caller: CallerDep,
    revision: RevisionDep,
    change: VersionChange,
) -> ProgramOut:
    """Change what is said of a version (archivists); If-Match is the revision of the version."""
    with caller.work() as work:
        program = versions.change(work, program_id, version_id, change, revision)
        return marked(response, ProgramOut.model_validate(program))
