"""Two readings of one tape, frame by frame, with both strips of tape at each difference."""

from dataclasses import dataclass, replace
from typing import Final

from server.catalog import pictures
from server.catalog.byte_by_byte import FrameComparison
from server.catalog.pictures import Pictured
from server.catalog.records import Comparison
from server.catalog.side_by_side import page_of
from server.catalog.tape_values import Page
from server.catalog.work import Work
from server.tape.bytes_diff import BytesChange, ChangeKind
from server.tape.findings import Finding, Severity
from server.web.differences import Steps, paged, steps_on
from server.web.strips import BEFORE, BESIDE, Shown, shown_strip

DIFFERENCES_A_PAGE: Final = 20
"""Each has two pictures."""

_MORE: Final = "The other reading has more here."

MOST_DRAWN: Final = 40
"""Frames of one difference that its strips show; of a longer one, the first as punched."""


@dataclass(frozen=True, slots=True)
class FrameSide:
    """One side of a difference: where it begins as that reading was read, and what was punched."""

    at: int
    frames: bytes
    strip: Shown
    turned: bool


@dataclass(frozen=True, slots=True)
class FrameChange:
    """Frames that differ, on both sides; `anchor` is named after where they stand on each."""

    anchor: str
    kind: str
    frames: int
    left: FrameSide
    right: FrameSide


@dataclass(frozen=True, slots=True)
class FramesPart:
    """A page of the differences; `part` is None where the readings are too far apart."""

    compared: FrameComparison
    part: Page[FrameChange] | None
    steps: dict[str, Steps]

    @classmethod
    def of(
        cls, work: Work, compared: FrameComparison, about: Comparison, page: int
    ) -> "FramesPart":
        """The page of that number of the differences between two readings."""
        if compared.changes is None:
            return cls(compared, None, {})
        changes = page_of(compared.changes, page, DIFFERENCES_A_PAGE)
        left, right = (pictures.of(work, each) for each in (about.a, about.b))
        anchors = (_anchor(each) for each in compared.changes)
        return cls(
            compared=compared,
            part=Page(
                tuple(_shown(each, left, right) for each in changes.rows),
                changes.total,
                changes.page,
                changes.page_size,
            ),
            steps=steps_on(changes.page, paged(anchors, DIFFERENCES_A_PAGE)),
        )


def _anchor(change: BytesChange) -> str:
    return f"f{change.left_at}-{change.right_at}"


def _shown(change: BytesChange, left: Pictured, right: Pictured) -> FrameChange:
    return FrameChange(
        _anchor(change),
        change.kind,
        change.bytes,
        _side(left, change.left_at, change.left, change),
        _side(right, change.right_at, change.right, change),
    )


def _side(pictured: Pictured, at: int, frames: bytes, change: BytesChange) -> FrameSide:
    drawn = max(BESIDE, min(len(frames), MOST_DRAWN) + 2 * BEFORE)
    backwards = pictured.orientation.runs_backwards
    # As punched, the frames before the difference are those that were read after it.
    start = at + len(frames) + BEFORE - drawn if backwards else at - BEFORE
    mark = _mark(change.kind, at, len(frames), backwards=backwards, last=len(pictured.image) - 1)
    marked = replace(pictured, findings=(*pictured.findings, mark))
    strip = marked.strip(start, drawn, as_punched=True)
    return FrameSide(at, frames, shown_strip(strip), turned=pictured.orientation != "as-read")


def _mark(kind: ChangeKind, at: int, frames: int, *, backwards: bool, last: int) -> Finding:
    """What to mark on the strip of one side; where frames are missing, the one behind the gap."""
    if frames:
        word = "differs" if kind is ChangeKind.CHANGED else "only-here"
        return Finding(word, Severity.NOTE, at, frames, "The other reading is otherwise.", "")
    behind = at - 1 if backwards else at
    if 0 <= behind <= last:
        return Finding("missing-before", Severity.NOTE, behind, 1, _MORE, "")
    return Finding("missing-behind", Severity.NOTE, min(max(behind, 0), last), 1, _MORE, "")
