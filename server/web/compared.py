"""Rows of a comparison for a page: text on both sides, and long runs of equal lines folded."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from server.tape.listing import Line
from server.tape.listing_diff import Row, RowKind
from server.tape.words_diff import Piece

CONTEXT = 3
"""Equal lines that stay in sight on either side of a difference."""


@dataclass(frozen=True, slots=True)
class Side:
    """A line of one of the two listings: its number there, and its text or pieces of it."""

    number: int
    text: str
    pieces: tuple[Piece, ...] = ()


@dataclass(frozen=True, slots=True)
class Shown:
    """One row, or (`folded`) how many equal rows stand here unseen."""

    kind: RowKind
    left: Side | None = None
    right: Side | None = None
    folded: int = 0


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
        None if row.left is None else Side(row.left + 1, left[row.left].text, row.left_pieces),
        None if row.right is None else Side(row.right + 1, right[row.right].text, row.right_pieces),
    )
