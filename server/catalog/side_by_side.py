"""Two listings side by side: bounded in work, long runs of equal lines folded, page by page."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Final, TypeVar

from server.catalog.tape_values import Page
from server.tape.listing import Line
from server.tape.listing_diff import Row, RowKind
from server.tape.words_diff import Piece, pieces

ROWS_A_PAGE: Final = 1000
"""The most rows that one answer holds."""

MOST_LINES: Final = 10_000
"""Lines of a listing that are compared; a full 1000 ft roll as a dump has 7,500."""

MOST_CHARACTERS: Final = 600_000
"""Characters of a listing that are compared; a full roll as a dump has 550,000."""

LONGEST_LINE: Final = 4000
"""Characters of one line that are compared; no interpreter or reader takes a line so long."""

CONTEXT = 3
"""Equal lines that stay in sight on either side of a difference."""

WORTH_FOLDING = 3
"""Equal lines that a fold must hide; it takes the room of one itself."""


RowT = TypeVar("RowT")


@dataclass(frozen=True, slots=True)
class Side:
    """A line of one of the two listings: its number there, counted from 1.

    Of a changed row `worded` says in pieces what changed; joined, they are the text of the line.
    """

    number: int
    line: Line
    pieces: tuple[Piece, ...] = ()

    @property
    def text(self) -> str:
        """The text of the line."""
        return self.line.text


@dataclass(frozen=True, slots=True)
class Shown:
    """One row, or (`folded`) how many equal rows stand here unseen."""

    kind: RowKind
    left: Side | None = None
    right: Side | None = None
    folded: int = 0


def compared(lines: Iterable[Line]) -> tuple[Line, ...]:
    """The first lines, as far as they are compared; an overlong one is cut."""
    short = [line._replace(text=line.text[:LONGEST_LINE]) for line in lines]
    ends = list(accumulate(len(line.text) for line in short[:MOST_LINES]))
    return tuple(short[: bisect_right(ends, MOST_CHARACTERS)])


def left_out(left: Sequence[Line], right: Sequence[Line], lines: tuple[int, int]) -> str:
    """What was not compared, in a sentence; `lines` is how many the two listings have."""
    if (len(left), len(right)) != lines:
        return (
            f"Only the first {len(left)} lines of the left listing and the first {len(right)} of "
            "the right one are compared, for such long listings would take too long."
        )
    if any(len(line.text) == LONGEST_LINE for line in (*left, *right)):
        return f"Of a line, only the first {LONGEST_LINE} characters are compared."
    return ""


def tally(rows: Iterable[Row]) -> Mapping[RowKind, int]:
    """How many lines are equal, were added, removed and changed."""
    return Counter(row.kind for row in rows)


def first_lines(rows: Sequence[Shown]) -> Iterator[int]:
    """The place of each row that a difference begins with; rows in a run make up one."""
    before = RowKind.EQUAL
    for at, row in enumerate(rows):
        if before is RowKind.EQUAL is not row.kind:
            yield at
        before = row.kind


def page_of(rows: Sequence[RowT], page: int, size: int = ROWS_A_PAGE) -> Page[RowT]:
    """One page of the rows, counted from 1; the nearest that there is."""
    page = min(max(1, page), max(1, -(-len(rows) // size)))
    start = (page - 1) * size
    return Page(tuple(rows[start : start + size]), len(rows), page, size)


def shown(
    rows: Sequence[Row], left: Sequence[Line], right: Sequence[Line], *, everything: bool
) -> tuple[Shown, ...]:
    """The rows to show: all, or those that differ with a few around them."""
    if everything:
        return tuple(_shown(row, left, right) for row in rows)
    return tuple(_folded(rows, left, right))


def _folded(rows: Sequence[Row], left: Sequence[Line], right: Sequence[Line]) -> Iterator[Shown]:
    near = _near_a_difference(rows)
    at = 0
    while at < len(rows):
        if near[at]:
            yield _shown(rows[at], left, right)
            at += 1
            continue
        end = at
        while end < len(rows) and not near[end]:
            end += 1
        if end - at < WORTH_FOLDING:
            yield from (_shown(row, left, right) for row in rows[at:end])
        else:
            yield Shown(RowKind.EQUAL, folded=end - at)
        at = end


def _near_a_difference(rows: Sequence[Row]) -> list[bool]:
    near = [False] * len(rows)
    for at, row in enumerate(rows):
        if row.kind is not RowKind.EQUAL:
            start, stop = max(0, at - CONTEXT), min(len(rows), at + CONTEXT + 1)
            near[start:stop] = [True] * (stop - start)
    return near


def _shown(row: Row, left: Sequence[Line], right: Sequence[Line]) -> Shown:
    return Shown(
        row.kind,
        None if row.left is None else Side(row.left + 1, left[row.left]),
        None if row.right is None else Side(row.right + 1, right[row.right]),
    )


def worded(rows: Iterable[Shown], language: str | None) -> Iterator[Shown]:
    """The rows, those that changed with the pieces of both lines."""
    for row in rows:
        if row.kind is RowKind.CHANGED and row.left and row.right:
            left, right = pieces(row.left.text, row.right.text, language=language)
            yield replace(
                row, left=replace(row.left, pieces=left), right=replace(row.right, pieces=right)
            )
        else:
            yield row
