"""Two images compared: their listings, what they load, and as readings of one tape."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Literal, Self

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from server.api.caller import CallerDep
from server.api.images import Sha256
from server.api.models import KinOut, ListingLineOut
from server.api.paging import PageOut, links
from server.api.problems import responses
from server.catalog import byte_by_byte, images
from server.catalog.errors import NotFound
from server.catalog.side_by_side import ROWS_A_PAGE, Shown, Side, page_of, shown, worded
from server.inspection import Fields
from server.tape.bytes_diff import BytesChange, ChangeKind

router = APIRouter(tags=["images"])

PageAsked = Annotated[int, Query(ge=1, description="Which page, counted from 1.")]


class PieceOut(Fields):
    """A piece of a line that changed."""

    kind: str = Field(description="`equal`, `added` or `removed`.")
    text: str = Field(description="The characters.")


class RowOut(Fields):
    """One row of two listings set side by side, or the place of equal rows left out."""

    kind: str = Field(description="`equal`, `added`, `removed` or `changed`.")
    folded: int = Field(description="How many equal rows are left out here; 0 for a row.")
    left: ListingLineOut | None = Field(description="The line of the other image, or null.")
    right: ListingLineOut | None = Field(description="The line of the image asked about, or null.")
    left_pieces: list[PieceOut] = Field(description="The left line of a changed row, in pieces.")
    right_pieces: list[PieceOut] = Field(description="The right line of a changed row, in pieces.")

    @classmethod
    def of(cls, row: Shown) -> Self:
        """The shape of a row."""
        return cls(
            kind=row.kind,
            folded=row.folded,
            left=_line(row.left),
            right=_line(row.right),
            left_pieces=_pieces(row.left),
            right_pieces=_pieces(row.right),
        )


def _line(side: Side | None) -> ListingLineOut | None:
    return ListingLineOut.of(side.number, side.line) if side else None


def _pieces(side: Side | None) -> list[PieceOut]:
    return [PieceOut.model_validate(each) for each in side.pieces] if side else []


class TallyOut(Fields):
    """How much differs byte by byte; what it is, the resource beside this one says."""

    differences: int | None = Field(
        description="How many runs differ; null where too much does to be set side by side."
    )
    more: bool = Field(description="Whether there are more than were counted.")
    added: int = Field(description="Addresses or frames only in the image asked about.")
    removed: int = Field(description="Addresses or frames only in the other image.")
    changed: int = Field(description="Addresses or frames that both have, but not alike.")
    moved: int = Field(description="Addresses whose content differs by the move of the code only.")

    @classmethod
    def of(
        cls,
        changes: Sequence[BytesChange] | None,
        tally: Mapping[ChangeKind, int],
        *,
        more: bool = False,
    ) -> Self:
        """How much `changes` are, which `tally` counts."""
        return cls(
            differences=None if changes is None else len(changes),
            more=more,
            added=tally.get(ChangeKind.ADDED, 0),
            removed=tally.get(ChangeKind.REMOVED, 0),
            changed=tally.get(ChangeKind.CHANGED, 0),
            moved=tally.get(ChangeKind.MOVED, 0),
        )


class ComparisonOut(KinOut):
    """Two images compared line by line: a page of the rows."""

    rows: list[RowOut] = Field(description="The rows of this page, those of equal lines too.")
    total: int = Field(description="How many rows there are in all.")
    page: int = Field(description="This page, counted from 1.")
    pages: int = Field(description="How many pages there are.")
    left_out: str = Field(
        description="What was not compared because the listings are very long; empty if nothing."
    )
    memory: TallyOut | None = Field(
        description="How much of what they load differs; null where not both load memory."
    )
    frames: TallyOut | None = Field(
        description="How many frames differ; null unless both are readings of one tape, or of no "
        "known format."
    )


class BytesChangeOut(Fields):
    """A run of addresses, or of frames, that differs."""

    kind: str = Field(
        description="`added`, `removed`, `changed`, or `moved`: an absolute address inside that "
        "went with code which stands elsewhere."
    )
    left_at: int = Field(description="Address or frame where it begins in the other image.")
    right_at: int = Field(description="Address or frame where it begins in the one asked about.")
    left: str = Field(description="What stands in the other image, in hexadecimal.")
    right: str = Field(description="What stands in the image asked about, in hexadecimal.")

    @classmethod
    def of(cls, change: BytesChange) -> Self:
        """The shape of a change."""
        return cls(
            kind=change.kind,
            left_at=change.left_at,
            right_at=change.right_at,
            left=change.left.hex(),
            right=change.right.hex(),
        )


class MemoryChangesOut(PageOut[BytesChangeOut]):
    """A page of what differs in memory, by rising address."""

    cell_bytes: int = Field(
        description="Bytes of the cells that addresses count, 1 or 2; of two the high one first."
    )
    moved_by: int = Field(description="How many addresses higher the image asked about stands.")
    more: bool = Field(description="Whether there are more differences than are told.")


@router.get("/images/{sha256}/kin/{other}", responses=responses("not-found", "invalid"))
def compare_images(
    request: Request,
    response: Response,
    sha256: Sha256,
    other: Sha256,
    caller: CallerDep,
    lines: Annotated[
        Literal["near", "all"],
        Query(description="Leave out long runs of equal lines, or give them all."),
    ] = "near",
    page: PageAsked = 1,
) -> ComparisonOut:
    """Two images compared line by line, whether or not they are akin.

    As among the kin, what is added is what the image asked about has and the other has not. The
    header Link names the other pages of the rows.
    """
    with caller.reading() as work:
        about = images.comparison(work, other, sha256)
        memory, frames = byte_by_byte.memory(work, about), byte_by_byte.frames(work, about)
    rows = shown(about.rows, about.left, about.right, everything=lines == "all")
    part = page_of(rows, page, ROWS_A_PAGE)
    response.headers["Link"] = links(request, part)
    return ComparisonOut(
        **dict(KinOut.model_validate(about.kinship)),
        rows=[RowOut.of(row) for row in worded(part.rows, about.language)],
        total=part.total,
        page=part.page,
        pages=part.pages,
        left_out=about.left_out,
        memory=TallyOut.of(memory.changes, memory.tally, more=memory.more) if memory else None,
        frames=TallyOut.of(frames.changes, frames.tally) if frames else None,
    )


@router.get("/images/{sha256}/kin/{other}/memory", responses=responses("not-found", "invalid"))
def compare_memory(
    request: Request,
    response: Response,
    sha256: Sha256,
    other: Sha256,
    caller: CallerDep,
    page: PageAsked = 1,
) -> MemoryChangesOut:
    """What two images load, compared address by address; absent where not both load memory.

    Where the code of one stands elsewhere, addresses are put side by side accordingly. The
    header Link names the other pages.
    """
    with caller.reading() as work:
        found = byte_by_byte.memory(work, images.comparison(work, other, sha256))
    if found is None:
        raise _nothing_beside(sha256, other, "do not both load memory")
    return MemoryChangesOut(
        **_paged(request, response, found.changes, page),
        cell_bytes=found.writing.cell_bytes,
        moved_by=found.moved_by,
        more=found.more,
    )


@router.get("/images/{sha256}/kin/{other}/frames", responses=responses("not-found", "invalid"))
def compare_frames(
    request: Request,
    response: Response,
    sha256: Sha256,
    other: Sha256,
    caller: CallerDep,
    page: PageAsked = 1,
) -> PageOut[BytesChangeOut]:
    """Two readings of one tape compared frame by frame, in the order punched.

    Places are those of each reading, counted from 0; frames are given as they were punched. It
    is absent unless both are readings of one tape, or of no known format, and not too far apart.
    The header Link names the other pages.
    """
    with caller.reading() as work:
        found = byte_by_byte.frames(work, images.comparison(work, other, sha256))
    if found is None:
        raise _nothing_beside(sha256, other, "are not readings of one tape")
    if found.changes is None:
        raise _nothing_beside(sha256, other, "differ in too many frames")
    return PageOut[BytesChangeOut](**_paged(request, response, found.changes, page))


def _paged(
    request: Request, response: Response, changes: Sequence[BytesChange], page: int
) -> dict[str, object]:
    part = page_of(changes, page, ROWS_A_PAGE)
    response.headers["Link"] = links(request, part)
    return {
        "items": [BytesChangeOut.of(each) for each in part.rows],
        "total": part.total,
        "page": part.page,
        "pages": part.pages,
    }


def _nothing_beside(sha256: str, other: str, why: str) -> NotFound:
    return NotFound(
        f"The images {sha256[:12]} and {other[:12]} {why}.",
        where=other,
        mend="Compare their listings.",
    )
