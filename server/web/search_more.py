"""Search by example, and for bytes; and the frames that a found byte leads to."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar, Final

from fastapi import APIRouter, Query
from starlette.responses import Response

from server.catalog import by_example, byte_search, images
from server.catalog.by_example import Answer, Example
from server.catalog.byte_pattern import LONGEST
from server.catalog.byte_values import BytePage, ByteQuery
from server.catalog.errors import ArchiveError, Invalid
from server.catalog.records import ImageRecord
from server.catalog.uploads import Upload
from server.statuses import problem_of
from server.tape.codes.iso_646 import PARITY_CHANNEL
from server.web.context import Filled, PageContext
from server.web.forms import ExampleDep, Form
from server.web.listed import visible
from server.web.visit import Visit, VisitDep
from server.web.wording import FRAMES_A_ROW

router = APIRouter()

ROWS_A_PAGE: Final = 128

ASKED: Final = ("bytes", "base", "where", "cursor")


@dataclass(frozen=True, kw_only=True, slots=True)
class ExamplePage(PageContext):
    """The form, and what holds the example, once there is one."""

    template: ClassVar[str] = "pages/by_example.html"
    title: str = "Search by example"
    answer: Answer | None
    form: Filled
    limit: int = by_example.LARGEST


@dataclass(frozen=True, kw_only=True, slots=True)
class BytesPage(PageContext):
    """What holds the bytes of `query`; `form` says what is wrong with them."""

    template: ClassVar[str] = "pages/bytes.html"
    title: str
    query: ByteQuery
    found: BytePage | None
    form: Filled


@dataclass(frozen=True, slots=True)
class FrameRow:
    """Frames side by side: the first one's number, and each with whether it is marked."""

    start: int
    frames: tuple[tuple[int, bool], ...]
    characters: str


@dataclass(frozen=True, kw_only=True, slots=True)
class FramesPage(PageContext):
    """The frames of an image, a page at a time."""

    template: ClassVar[str] = "pages/frames.html"
    image: ImageRecord
    rows: tuple[FrameRow, ...]
    page: int
    pages: int


@router.get("/search/by-example")
def example_form(visit: VisitDep, text: str = "") -> Response:
    """The form; with some lines in the address, what holds them."""
    if text.strip():
        return _answered(visit, Form({"text": (text,)}))
    with visit.work():
        return visit.page(ExamplePage(answer=None, form=Filled()))


@router.post("/search/by-example")
def example(visit: VisitDep, form: ExampleDep) -> Response:
    """What holds the lines, the bytes or the image."""
    return _answered(visit, form)


def _answered(visit: Visit, form: Form) -> Response:
    kept = Filled(form.kept())
    try:
        with visit.work() as work:
            if form.files:
                file = form.files[0]
                data = file.file.read(by_example.LARGEST + 1)
                upload = Upload.of({"file_name": file.filename or "file", "data": data})
                answer = by_example.of_image(work, upload)
            else:
                given = form.only(("text", "bytes", "base"))
                answer = by_example.of_example(work, Example.of(given))
            return visit.page(ExamplePage(answer=answer, form=kept), block="results")
    except ArchiveError as refusal:
        fields = refusal.fields if isinstance(refusal, Invalid) else {}
        page = ExamplePage(answer=None, form=Filled(form.kept(), fields, refusal))
        return visit.page(page, block="results", status=problem_of(refusal).status)


@router.get("/search/bytes")
def bytes_in_library(visit: VisitDep) -> Response:
    """What holds some bytes, in frames or in loaded memory."""
    params = visit.request.query_params
    asked = {name: params[name] for name in ASKED if params.get(name)}
    query = ByteQuery.of(asked)
    title = f"Bytes: {query.bytes}" if query.bytes.strip() else "Search for bytes"
    try:
        with visit.work() as work:
            found = byte_search.find(work, query) if query.bytes.strip() else None
            page = BytesPage(title=title, query=query, found=found, form=Filled())
            return visit.page(page, block="results")
    except Invalid as refusal:
        form = Filled(dict(asked), refusal.fields, refusal)
        page = BytesPage(title="Search for bytes", query=query, found=None, form=form)
        return visit.page(page, block="results", status=problem_of(refusal).status)


@router.get("/images/{sha256}/frames")
def frames(
    visit: VisitDep,
    sha256: str,
    at: Annotated[int | None, Query(ge=0)] = None,
    length: Annotated[int, Query(ge=1, le=LONGEST)] = 1,
    page: Annotated[int, Query(ge=1)] = 1,
) -> Response:
    """The frames of an image as they were read; those from `at` on are marked."""
    with visit.work() as work:
        image, data = images.get(work, sha256), images.frames(work, sha256)
        size = FRAMES_A_ROW * ROWS_A_PAGE
        pages = max(1, -(-len(data) // size))
        shown = min(page if at is None else at // size + 1, pages)
        marked = range(0) if at is None else range(at, at + length)
        return visit.page(
            FramesPage(
                title=f"Frames of {image.title}",
                image=image,
                rows=_rows(data, (shown - 1) * size, size, marked),
                page=shown,
                pages=pages,
            )
        )


def _rows(data: bytes, start: int, size: int, marked: Sequence[int]) -> tuple[FrameRow, ...]:
    stop = min(start + size, len(data))
    edges = ((row, min(row + FRAMES_A_ROW, stop)) for row in range(start, stop, FRAMES_A_ROW))
    return tuple(
        FrameRow(
            row,
            tuple((data[at], at in marked) for at in range(row, end)),
            visible("".join(chr(each & ~PARITY_CHANNEL) for each in data[row:end])),
        )
        for row, end in edges
    )
