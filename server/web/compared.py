"""Two images compared: line by line, by what they load, and as readings of one tape."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import byte_by_byte, images, pictures
from server.catalog.byte_by_byte import FrameComparison, MemoryComparison
from server.catalog.records import Comparison
from server.catalog.side_by_side import Shown, page_of, shown
from server.catalog.tape_values import Page
from server.catalog.work import Work
from server.web.context import PageContext
from server.web.strips import BEFORE, BESIDE, shown_strip
from server.web.strips import Shown as Picture
from server.web.visit import VisitDep

router = APIRouter()

MOST_PICTURED: Final = 8
"""Differences between two readings that are shown as strips of tape; the others have a link."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ComparePage(PageContext):
    """Two images line by line; long runs of equal lines are folded unless all are asked for.

    `memory` and `frames` compare them byte by byte, where there is something to compare;
    `pictured` holds the strips of the first frames that differ, of both.
    """

    template: ClassVar[str] = "pages/compare.html"
    comparison: Comparison
    part: Page[Shown]
    everything: bool
    memory: MemoryComparison | None
    frames: FrameComparison | None
    pictured: tuple[tuple[Picture, Picture], ...]

    @classmethod
    def of(
        cls, work: Work, sha256: str, other: str, *, everything: bool, page: int
    ) -> "ComparePage":
        """The page that compares the image `other` against the image `sha256`."""
        comparison = images.comparison(work, sha256, other)
        rows = shown(comparison.rows, comparison.left, comparison.right, everything=everything)
        frames = byte_by_byte.frames(work, comparison.a, comparison.b)
        return cls(
            title=f"{comparison.a.title} and {comparison.b.title} compared",
            comparison=comparison,
            part=page_of(rows, page),
            everything=everything,
            memory=byte_by_byte.memory(work, sha256, other, comparison.kinship.moved_by),
            frames=frames,
            pictured=() if frames is None else _pictured(work, comparison, frames),
        )


def _pictured(
    work: Work, comparison: Comparison, frames: FrameComparison
) -> tuple[tuple[Picture, Picture], ...]:
    """Both strips of each of the first differences, some frames before it and after it."""
    left, right = (pictures.of(work, each) for each in (comparison.a, comparison.b))
    return tuple(
        (
            shown_strip(left.strip(change.left_at - BEFORE, BESIDE)),
            shown_strip(right.strip(change.right_at - BEFORE, BESIDE)),
        )
        for change in (frames.changes or ())[:MOST_PICTURED]
    )


@router.get("/images/{sha256}/compare/{other}")
def compare(visit: VisitDep, sha256: str, other: str, lines: str = "", page: int = 1) -> Response:
    """Two images, line by line."""
    with visit.work() as work:
        return visit.page(ComparePage.of(work, sha256, other, everything=lines == "all", page=page))
