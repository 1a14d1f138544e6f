"""Two images compared: line by line, by what they load, and as readings of one tape."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import byte_by_byte, images
from server.catalog.records import Comparison
from server.catalog.side_by_side import (
    ROWS_A_PAGE,
    Shown,
    first_lines,
    page_of,
    shown,
    tally,
    worded,
)
from server.catalog.tape_values import Page
from server.catalog.work import Work
from server.tape.cpu.notation import Notation
from server.tape.listing_diff import RowKind
from server.tape.words_diff import Pieces, merged
from server.web.context import PageContext
from server.web.differences import Place, Steps, row_anchor, steps_on
from server.web.frames_compared import FramesPart
from server.web.memory_compared import MemoryPart
from server.web.visit import VisitDep

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Asked:
    """How a comparison is wanted: all lines or few, in one column or two, which page of what."""

    everything: bool = False
    merged: bool = False
    page: int = 1
    memory_page: int = 1
    frames_page: int = 1
    notation: Notation | None = None


@dataclass(frozen=True, slots=True)
class LinesPart:
    """A page of the listings' rows, and how many differences there are in `total`.

    Lines that differ and follow each other make up one difference; `tally` counts all lines by
    what became of them.
    """

    part: Page[Shown]
    steps: dict[str, Steps]
    total: int
    tally: Mapping[RowKind, int]

    @classmethod
    def of(cls, comparison: Comparison, asked: Asked) -> "LinesPart":
        """The page asked for; long runs of equal lines are folded unless all are wanted."""
        rows = shown(
            comparison.rows, comparison.left, comparison.right, everything=asked.everything
        )
        part = page_of(rows, asked.page)
        worded_rows = part.rows if asked.merged else worded(part.rows, comparison.language)
        places = (Place(row_anchor(rows[at]), at // ROWS_A_PAGE + 1) for at in first_lines(rows))
        every = tuple(places)
        return cls(
            replace(part, rows=tuple(worded_rows)),
            steps_on(part.page, every),
            len(every),
            tally(comparison.rows),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class ComparePage(PageContext):
    """Two images line by line, and byte by byte where there is something to compare so.

    `lines` is None where the listings are dumps of the frames, which say it better themselves;
    `as_one` gives the pieces of a changed row where both listings stand in one column.
    """

    template: ClassVar[str] = "pages/compare.html"
    comparison: Comparison
    asked: Asked
    lines: LinesPart | None
    memory: MemoryPart | None
    frames: FramesPart | None
    as_one: Callable[[Shown], Pieces]
    notations: tuple[str, ...] = tuple(Notation)

    @classmethod
    def of(cls, work: Work, sha256: str, other: str, asked: Asked) -> "ComparePage":
        """The page that compares the image `other` against the image `sha256`."""
        about = images.comparison(work, sha256, other)
        memory = byte_by_byte.memory(work, about)
        frames = byte_by_byte.frames(work, about)
        told = byte_by_byte.are_bare(about.a, about.b) and frames and frames.changes is not None
        return cls(
            title=f"{about.a.title} and {about.b.title} compared",
            comparison=about,
            asked=asked,
            lines=None if told else LinesPart.of(about, asked),
            memory=None
            if memory is None
            else MemoryPart.of(memory, about, asked.memory_page, asked.notation),
            frames=None
            if frames is None
            else FramesPart.of(work, frames, about, asked.frames_page),
            as_one=lambda row: _as_one(row, about.language),
        )


def _as_one(row: Shown, language: str | None) -> Pieces:
    assert row.left is not None
    assert row.right is not None
    return merged(row.left.text, row.right.text, language=language)


@router.get("/images/{sha256}/compare/{other}")
def compare(
    visit: VisitDep,
    sha256: str,
    other: str,
    lines: str = "",
    view: str = "",
    page: int = 1,
    memory_page: int = 1,
    frames_page: int = 1,
    notation: Notation | None = None,
) -> Response:
    """Two images, side by side or merged into one."""
    asked = Asked(
        everything=lines == "all",
        merged=view == "merged",
        page=page,
        memory_page=memory_page,
        frames_page=frames_page,
        notation=notation,
    )
    with visit.work() as work:
        return visit.page(ComparePage.of(work, sha256, other, asked))
