"""Upload: each file is answered with what it is, what it resembles, and a form to describe it."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from http import HTTPStatus
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Query
from starlette.datastructures import UploadFile
from starlette.responses import Response

from server.catalog import accession, images, proposals, tapes
from server.catalog.accession import Upload
from server.catalog.errors import ArchiveError, Conflict, Invalid, NotFound, Quarantined
from server.catalog.records import ImageRecord, KinRecord, Receipt
from server.catalog.tape_values import NewTape
from server.catalog.work import Role, Work, unit_of_work
from server.statuses import problem_of
from server.web.context import Filled, PageContext
from server.web.forms import FILES_AT_ONCE, FilesDep, Form, FormDep
from server.web.listed import ListedLine, excerpt
from server.web.program_field import offered
from server.web.render import wants_fragment
from server.web.tape_forms import DESCRIBED, described
from server.web.visit import Visit, VisitDep, encoded

router = APIRouter()

EXCERPT_LINES = 12
HELD = "held"
REFUSALS = (Invalid, Conflict, NotFound, Quarantined)
"""What is the matter with one file, and does not fail the rest."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Result:
    """What became of one file; `image` is None where it was refused.

    `state` is one of stored, held, described, rejected.
    """

    file_name: str
    state: str
    image: ImageRecord | None = None
    duplicate_of: str | None = None
    kin: tuple[KinRecord, ...] = ()
    notes: tuple[str, ...] = ()
    lines: tuple[ListedLine, ...] = ()
    form: Filled = field(default_factory=Filled)
    refusal: ArchiveError | None = None

    @property
    def image_name(self) -> str:
        """The digest of the image; empty where the file was refused."""
        return self.image.sha256 if self.image else ""


@dataclass(frozen=True, kw_only=True, slots=True)
class UploadPage(PageContext):
    """The form, and what became of the files that were sent."""

    template: ClassVar[str] = "pages/upload.html"
    title: str = "Upload"
    results: tuple[Result, ...] = ()
    programs: tuple[str, ...] = ()
    limit: int
    at_once: int = FILES_AT_ONCE
    tape: str = ""


def _page(visit: Visit, work: Work, results: Iterable[Result], tape: str = "") -> UploadPage:
    return UploadPage(
        results=tuple(results),
        programs=offered(work),
        limit=visit.settings.upload_limit_bytes,
        tape=tape,
    )


def _of_image(work: Work, sha256: str, file_name: str = "") -> Result:
    """What became of an image that is held, as an upload of it is answered."""
    image = images.get(work, sha256)
    listing = images.listing(work, sha256, 0, EXCERPT_LINES)
    name = file_name or (image.readings[-1].file_name if image.readings else image.title)
    proposal = proposals.propose(image, listing, name)
    proposed = {each: getattr(proposal, each) for each in proposal.__slots__ if each in DESCRIBED}
    return Result(
        file_name=name,
        state="described" if image.tapes else "stored",
        image=image,
        kin=images.kin(work, sha256),
        lines=excerpt(listing.lines, image.findings),
        form=Filled(proposed),
    )


def _of_receipt(work: Work, receipt: Receipt, file_name: str) -> Result:
    result = _of_image(work, receipt.image.sha256, file_name)
    return replace(
        result,
        state=HELD if receipt.held else result.state,
        duplicate_of=receipt.duplicate_of,
        notes=receipt.notes,
    )


def _as_held(result: Result) -> Result:
    return replace(result, state=HELD)


def _take(visit: Visit, form: Form, file: UploadFile) -> Result:
    """Store one file in a transaction of its own, so that a bad one does not fail the rest."""
    limit = visit.settings.upload_limit_bytes
    name = file.filename or "file"
    try:
        upload = Upload.of(
            {
                "file_name": name,
                "data": file.file.read(limit + 1),
                **{each: form.text(each) or None for each in ("tape", "levels", "read_on")},
                "reader": form.text("reader"),
            }
        )
        examined = accession.examine(upload, limit)
        engine = visit.request.app.state.engine
        with unit_of_work(engine, visit.actor, writes=False) as work:
            examined = accession.meet(work, examined)
        with unit_of_work(engine, visit.actor) as work:
            return _of_receipt(work, accession.accept(work, examined), name)
    except REFUSALS as refusal:
        return Result(file_name=name, state="rejected", refusal=refusal)


def _worst_status(results: Iterable[Result]) -> int:
    refusals = (result.refusal for result in results if result.refusal is not None)
    return max((problem_of(each).status for each in refusals), default=HTTPStatus.OK)


def volunteer_first(visit: VisitDep) -> None:
    """Refuse who may not upload before a single file is read."""
    with visit.work() as work:
        work.actor.require(Role.VOLUNTEER)


@router.get("/upload")
def upload_form(
    visit: VisitDep,
    image: Annotated[tuple[str, ...], Query()] = (),
    held: Annotated[tuple[str, ...], Query()] = (),
    tape: str = "",
) -> Response:
    """The form, and the images named in the address, `held` those that were here before."""
    with visit.work() as work:
        work.actor.require(Role.VOLUNTEER)
        results = [_of_image(work, sha256) for sha256 in image[:FILES_AT_ONCE]]
        results = [_as_held(each) if each.image_name in held else each for each in results]
        return visit.page(_page(visit, work, results, tape), block="results")


@router.post("/upload", dependencies=[Depends(volunteer_first)])
def upload(visit: VisitDep, form: FilesDep) -> Response:
    """Take in files, each for itself."""
    with visit.change(form) as work:
        work.actor.require(Role.VOLUNTEER)
    results = [_take(visit, form, file) for file in form.files] or [_nothing_chosen()]
    status = _worst_status(results)
    if status == HTTPStatus.OK and not wants_fragment(visit.request):
        stored = [("image", each.image_name) for each in results]
        held = [("held", each.image_name) for each in results if each.state == HELD]
        return visit.redirect(f"/upload{encoded([*stored, *held])}")
    with visit.work() as work:
        return visit.page(_page(visit, work, results), block="results", status=status)


def _nothing_chosen() -> Result:
    refusal = Invalid(
        "No file was chosen.",
        where="the field Files",
        mend="Choose one or more files with the frames of a tape, one byte each.",
    )
    return Result(file_name="no file", state="rejected", refusal=refusal)


@router.post("/upload/{sha256}/describe")
def describe(visit: VisitDep, sha256: str, form: FormDep) -> Response:
    """Enter the tape that an uploaded image was read from, or put the image to a held one."""

    def act(work: Work) -> Response:
        number = form.text("existing").strip()
        if not number:
            number = tapes.create(work, NewTape.of(described(work, form))).accession_number
        tapes.attach(work, number, sha256)
        if not wants_fragment(visit.request):
            return visit.redirect(f"/tapes/{number}")
        return visit.page(_page(visit, work, [_of_image(work, sha256)]), block="results")

    def again(work: Work, filled: Filled) -> UploadPage:
        result = _of_image(work, sha256)
        return _page(visit, work, [replace(result, form=filled)])

    return visit.submit(form, act, again, block="results")
