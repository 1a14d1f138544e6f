"""Two listings side by side: which line of one stands for which line of the other."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import zip_longest

from server.tape.alignment import Gap, Pair
from server.tape.line_pairs import Keyed, pair
from server.tape.line_targets import bodies_of
from server.tape.listing import Line
from server.tape.normal_form import normal_lines
from server.tape.renumbering import renumbered_like


class RowKind(StrEnum):
    """What became of a line on its way from the left listing to the right one."""

    EQUAL = "equal"
    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the left listing, of the right one, or both, as indexes into them.

    What changed within a line, `server.tape.words_diff` says. A blank line that stands on one
    side only is an equal row without a line on the other side: it counts for nothing.
    """

    kind: RowKind
    left: int | None
    right: int | None


def align(
    a_lines: Sequence[Line],
    b_lines: Sequence[Line],
    *,
    language: str | None,
    renumbered: bool = False,
) -> tuple[Row, ...]:
    """The rows that lead from the lines of `a_lines` to those of `b_lines`, in order.

    Lines are matched by number where both have one, by content where not; `language` says what
    is the same for the comparison (see `server.tape.normal_form`). Of a program that was
    `renumbered`, lines are matched by content, and are equal but for their numbering.
    """
    a, b = normal_lines(a_lines, language), normal_lines(b_lines, language)
    a_places = [at for at, line in enumerate(a) if line]
    b_places = [at for at, line in enumerate(b) if line]
    left = Keyed([a[at] for at in a_places], [a_lines[at].key for at in a_places])
    right = Keyed([b[at] for at in b_places], [b_lines[at].key for at in b_places])
    if renumbered:
        bodies = bodies_of(*left), bodies_of(*right)
        right = renumbered_like(left, right, bodies)
        for at, line in zip(b_places, right.lines, strict=True):
            b[at] = line
    pairs = pair(left, right)
    placed = [(a_places[left], b_places[right]) for left, right in pairs]
    return tuple(_rows(placed, a, b))


def _rows(pairs: Sequence[Pair], a: Sequence[str], b: Sequence[str]) -> Iterator[Row]:
    left = right = 0
    for next_left, next_right in [*pairs, (len(a), len(b))]:
        yield from _unmatched(a, b, Gap(left, next_left, right, next_right))
        if next_left < len(a):
            same = a[next_left] == b[next_right]
            yield Row(RowKind.EQUAL if same else RowKind.CHANGED, next_left, next_right)
        left, right = next_left + 1, next_right + 1


def _unmatched(a: Sequence[str], b: Sequence[str], gap: Gap) -> Iterator[Row]:
    """The rows of a gap; blank lines face each other as far as there are some on both sides."""
    lefts = _cut_at_blanks(a, range(gap.left, gap.left_end))
    rights = _cut_at_blanks(b, range(gap.right, gap.right_end))
    for (left, left_blank), (right, right_blank) in zip_longest(
        lefts, rights, fillvalue=([], None)
    ):
        yield from (Row(RowKind.REMOVED, at, None) for at in left)
        yield from (Row(RowKind.ADDED, None, at) for at in right)
        if left_blank is not None or right_blank is not None:
            yield Row(RowKind.EQUAL, left_blank, right_blank)


def _cut_at_blanks(lines: Sequence[str], places: range) -> list[tuple[list[int], int | None]]:
    """Runs of lines that are not blank, each with the blank line after it."""
    blanks = [at for at in places if not lines[at]]
    starts = [places.start, *(at + 1 for at in blanks)]
    stops = [*blanks, places.stop]
    ends: list[int | None] = [*blanks, None]
    return [
        (list(range(start, stop)), end)
        for start, stop, end in zip(starts, stops, ends, strict=True)
    ]
