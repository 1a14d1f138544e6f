"""Two images byte by byte: what they load by address, and what was punched frame by frame.

Memory is compared where both load some; frames where the two are readings of one tape, or where
the frames of both are all that is known, for then nothing else can be held against each other.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Final

from server.catalog import forms, images
from server.catalog.held import image_id_of
from server.catalog.records import Comparison, ImageRecord
from server.catalog.work import Work
from server.tape.bytes_diff import BytesChange, ChangeKind, frame_changes, memory_changes
from server.tape.image import Image, Orientation, Span
from server.tape.machine_notation import HEXADECIMAL, Writing, writing_of
from server.tape.program_view import BARE

MOST_TOLD: Final = 10_000
"""Differences in memory that are told; two programs that share nothing have about 4,000."""

MOST_CHANGES: Final = 3000
"""Frames that may differ before two readings are too far apart to be set side by side."""


@dataclass(frozen=True, slots=True)
class MemoryComparison:
    """Where the memory of two images differs, by rising address; `more` says that there is more.

    Places are cells as `writing` writes them; the right image stands `moved_by` cells higher.
    """

    changes: tuple[BytesChange, ...]
    more: bool
    writing: Writing
    moved_by: int

    @property
    def tally(self) -> Mapping[ChangeKind, int]:
        """How many cells the differences told hold, by what became of them."""
        return _tally(self.changes, self.writing.cell_bytes)


@dataclass(frozen=True, slots=True)
class FrameComparison:
    """Where two readings differ, in the frames of each as it was read, in the order punched.

    `changes` is None where they differ too much to be set side by side frame by frame.
    """

    changes: tuple[BytesChange, ...] | None

    @property
    def tally(self) -> Mapping[ChangeKind, int]:
        """How many frames the differences hold, by what became of them."""
        return _tally(self.changes or (), 1)


def _tally(changes: tuple[BytesChange, ...], unit: int) -> Mapping[ChangeKind, int]:
    counts: Counter[ChangeKind] = Counter()
    for change in changes:
        counts[change.kind] += change.bytes // unit
    return counts


def memory(work: Work, comparison: Comparison) -> MemoryComparison | None:
    """Where the memory of two images differs; None where not both load some."""
    a, b = comparison.a, comparison.b
    first, second = image_id_of(work, a.sha256), image_id_of(work, b.sha256)
    both = forms.of(work, {first, second})
    left, right = both[first].memory, both[second].memory
    if not left or not right:
        return None
    moved_by = comparison.kinship.moved_by
    writing = _writing_of(a, b)
    changes = memory_changes(left, right, moved_by, writing.cell_bytes)
    found = tuple(islice(changes, MOST_TOLD + 1))
    return MemoryComparison(found[:MOST_TOLD], len(found) > MOST_TOLD, writing, moved_by)


def _writing_of(a: ImageRecord, b: ImageRecord) -> Writing:
    """How the machine of both wrote; bytes in hexadecimal where the two had different habits."""
    left, right = (writing_of(each.format) for each in (a, b))
    return left if left == right else HEXADECIMAL


def frames(work: Work, comparison: Comparison) -> FrameComparison | None:
    """Where two readings of one tape differ; None where the two are no such readings."""
    a, b = comparison.a, comparison.b
    if not _comparable(a, b):
        return None
    sides = [_Punched.of(work, each) for each in (a, b)]
    found = frame_changes(sides[0].data, sides[1].data, MOST_CHANGES)
    if found is None:
        return FrameComparison(None)
    return FrameComparison(tuple(_as_read(each, *sides) for each in found))


def are_bare(a: ImageRecord, b: ImageRecord) -> bool:
    """Whether the listings of both are no more than dumps of their frames."""
    return {a.format, b.format} <= BARE


def _comparable(a: ImageRecord, b: ImageRecord) -> bool:
    one_tape = {each.accession_number for each in a.tapes} & {
        each.accession_number for each in b.tapes
    }
    return a.sha256 != b.sha256 and bool(one_tape or are_bare(a, b))


@dataclass(frozen=True, slots=True)
class _Punched:
    """The frames that carry an image's content, in the order in which they were punched."""

    data: bytes
    image: Image
    orientation: Orientation
    span: Span

    @classmethod
    def of(cls, work: Work, record: ImageRecord) -> "_Punched":
        image = Image(images.frames(work, record.sha256), record.levels)
        span = image.span_as_read(record.data, record.orientation)
        turned = image.turned(record.orientation)
        return cls(turned.frames[slice(*span)], image, record.orientation, span)

    def as_read(self, at: int, frames: int) -> int:
        """The first frame, as the image was read, of so many from `at` on as punched."""
        start = self.span.start + at
        return self.image.span_as_read(Span(start, start + frames), self.orientation).start


def _as_read(change: BytesChange, left: _Punched, right: _Punched) -> BytesChange:
    return BytesChange(
        change.kind,
        left.as_read(change.left_at, len(change.left)),
        right.as_read(change.right_at, len(change.right)),
        change.left,
        change.right,
    )
