"""Load sheets: what a demonstrator takes to the machine, got, written, and as it was before."""

from datetime import datetime
from typing import Annotated, Self

from fastapi import APIRouter, Path, Response
from pydantic import Field

from server.api.caller import SIGNED_IN, Caller, CallerDep
from server.api.images import Sha256
from server.api.problems import responses
from server.api.programs import ProgramId
from server.api.revisions import CHANGING, IF_MATCH, READING, Revised, RevisionDep, marked
from server.catalog import load_sheets
from server.catalog.load_sheet_values import NewTexts, SheetOf, SheetRecord, SheetRevision
from server.catalog.records import VerifiedBy
from server.catalog.vocabulary import Condition, Hazard
from server.delivery.one_page import fit_of
from server.delivery.sheet_sections import imprint, sections
from server.inspection import Fields, LoadRangeFacts
from server.tape.cpu.notation import Notation
from server.tape.findings import CheckStatus

router = APIRouter(tags=["load sheets"])

OF_IMAGE, OF_VERSION = (
    "/images/{sha256}/sheet",
    "/programs/{program_id}/versions/{version_id}/sheet",
)

VersionId = Annotated[int, Path(description="Number of the version.", ge=1, le=2**31 - 1)]


class SheetTextsOut(Fields):
    """The texts of a sheet, plain and in lines."""

    needs: str = Field(description="What must be in the machine first.")
    steps: str = Field(description="What to do at the machine, one step a line.")
    bootstrap: str = Field(description="What is keyed in: lines of an address, a colon, contents.")
    reader: str = Field(description="About tape and reader, beside what the image says.")
    worked: str = Field(description="What should appear when it worked.")
    cautions: str = Field(description="Cautions beside those that stand on every sheet.")


class CopyOut(Fields):
    """A tape that carries the very content."""

    accession_number: str = Field(description="Accession number of the tape.")
    place: str = Field(description="Where it lies.")
    condition: Condition = Field(description="How it stands.")
    hazard: Hazard = Field(description="What makes it dangerous to handle.")
    begins: int | None = Field(
        description="Frame at which its content begins, if it was punched here and read back."
    )
    letters: str = Field(description="What is lettered in its leader, if it was punched here.")


class CellOut(Fields):
    """One cell to key in, as the machine's people write it."""

    address: str = Field(description="Where it goes.")
    contents: str = Field(description="What goes there.")
    remark: str = Field(description="What somebody remarked on it.")


class SheetSectionOut(Fields):
    """A section of the sheet as it is printed."""

    heading: str = Field(description="What it is headed.")
    lines: list[str] = Field(description="Its lines.")


class SheetOut(Revised):
    """A load sheet as it stands; revision 1 is all made of the decoding."""

    heading: str = Field(description="The program and its version, or the name of the image.")
    machine: str = Field(description="The machine that the program needs.")
    sha256: str = Field(description="The master image.")
    check_status: CheckStatus = Field(description="What the tape's own checks say.")
    verification: VerifiedBy = Field(description="Why the master image is trusted.")
    copies: list[CopyOut] = Field(description="Tapes that carry it, six at most.")
    more_copies: int = Field(description="How many more tapes carry it.")
    load_ranges: list[LoadRangeFacts] = Field(description="Addresses that the tape loads.")
    entry_address: int | None = Field(description="Where the program starts, if the tape says.")
    notation: Notation = Field(description="How the sheet writes addresses.")
    chosen_notation: Notation | None = Field(
        description="The notation that somebody chose; null where it is the machine's."
    )
    texts: SheetTextsOut = Field(description="Every text of the sheet.")
    written: list[str] = Field(
        description="Names of the texts that people wrote; the others are made of the decoding,"
        " after common practice."
    )
    cells: list[CellOut] = Field(description="What is keyed in, cell by cell.")
    sections: list[SheetSectionOut] = Field(description="The sheet as it is printed.")
    imprint: str = Field(description="Its last line: who wrote it, and what nobody did.")
    points: int = Field(description="Size of the letters that it is printed in, in points.")
    lines_over: int = Field(
        description="About how many lines too many it has for one page; 0 where it fits."
    )
    changed: datetime | None = Field(description="When it was last written, in UTC, or null.")
    by: str = Field(description="Who wrote it last; empty where nobody did.")

    @classmethod
    def of(cls, sheet: SheetRecord) -> Self:
        """The shape of a sheet."""
        image, fit = sheet.image, fit_of(sheet)
        return cls(
            heading=sheet.heading,
            machine=sheet.machine,
            sha256=image.sha256,
            check_status=image.check_status,
            verification=image.verification.word,
            copies=[CopyOut.model_validate(each) for each in sheet.copies],
            more_copies=sheet.more_copies,
            load_ranges=[LoadRangeFacts.model_validate(each) for each in image.load_ranges],
            entry_address=image.entry_address,
            notation=sheet.writing.notation,
            chosen_notation=sheet.notation,
            texts=SheetTextsOut(**sheet.texts),
            written=sorted(sheet.written),
            cells=[CellOut.model_validate(each) for each in sheet.cells or ()],
            sections=[SheetSectionOut.model_validate(each) for each in sections(sheet)],
            imprint=imprint(sheet),
            points=fit.points,
            lines_over=fit.lines_over,
            changed=sheet.changed,
            by=sheet.by,
            revision=sheet.revision,
        )


class SheetRevisionOut(Fields):
    """A sheet as it was from one revision on."""

    revision: int = Field(description="Number of the revision.")
    by: str = Field(description="Who wrote it; empty for the first, which nobody did.")
    made: datetime | None = Field(description="When, in UTC; null for the first.")
    note: str = Field(description="What was changed, and why.")
    texts: SheetTextsOut = Field(description="What it said.")
    changed: list[str] = Field(description="Names of the texts that differ from those before.")

    @classmethod
    def of(cls, told: SheetRevision) -> Self:
        """The shape of a revision."""
        return cls(
            revision=told.revision,
            by=told.by,
            made=told.made,
            note=told.note,
            texts=SheetTextsOut(**{name: told.texts[name] for name in SheetTextsOut.model_fields}),
            changed=[change.field for change in told.changes],
        )


def _got(caller: Caller, response: Response, of: SheetOf) -> SheetOut:
    with caller.reading() as work:
        return marked(response, SheetOut.of(load_sheets.get(work, of)))


def _written(
    caller: Caller, response: Response, of: SheetOf, new: NewTexts, revision: int | None
) -> SheetOut:
    with caller.work() as work:
        return marked(response, SheetOut.of(load_sheets.put(work, of, new, revision)))


def _before(caller: Caller, of: SheetOf) -> list[SheetRevisionOut]:
    with caller.reading() as work:
        return [SheetRevisionOut.of(each) for each in load_sheets.history(work, of)]


@router.get(OF_IMAGE, responses=READING | responses("not-found", "invalid"))
def get_image_sheet(sha256: Sha256, response: Response, caller: CallerDep) -> SheetOut:
    """The load sheet of an image, for which there need be no program."""
    return _got(caller, response, SheetOf(sha256=sha256))


@router.put(OF_IMAGE, dependencies=SIGNED_IN, openapi_extra=IF_MATCH, responses=CHANGING)
def write_image_sheet(
    sha256: Sha256,
    response: Response,
    caller: CallerDep,
    revision: RevisionDep,
    new: NewTexts,
) -> SheetOut:
    """Write the load sheet of an image anew (volunteers); what is left out is made again."""
    return _written(caller, response, SheetOf(sha256=sha256), new, revision)


@router.get(f"{OF_IMAGE}/revisions", responses=responses("not-found", "invalid"))
def list_image_sheet_revisions(sha256: Sha256, caller: CallerDep) -> list[SheetRevisionOut]:
    """What the load sheet of an image said before, newest first."""
    return _before(caller, SheetOf(sha256=sha256))


@router.get(OF_VERSION, responses=READING | responses("not-found", "invalid"))
def get_version_sheet(
    program_id: ProgramId, version_id: VersionId, response: Response, caller: CallerDep
) -> SheetOut:
    """The load sheet of a version of a program."""
    return _got(caller, response, SheetOf(program=program_id, version=version_id))


@router.put(OF_VERSION, dependencies=SIGNED_IN, openapi_extra=IF_MATCH, responses=CHANGING)
def write_version_sheet(
    program_id: ProgramId,
    version_id: VersionId,
    response: Response,
    caller: CallerDep,
    revision: RevisionDep,
    new: NewTexts,
) -> SheetOut:
    """Write the load sheet of a version anew (volunteers); what is left out is made again."""
    of = SheetOf(program=program_id, version=version_id)
    return _written(caller, response, of, new, revision)


@router.get(f"{OF_VERSION}/revisions", responses=responses("not-found", "invalid"))
def list_version_sheet_revisions(
    program_id: ProgramId, version_id: VersionId, caller: CallerDep
) -> list[SheetRevisionOut]:
    """What the load sheet of a version said before, newest first."""
    return _before(caller, SheetOf(program=program_id, version=version_id))
