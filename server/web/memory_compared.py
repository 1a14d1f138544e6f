"""What two images load, address by address, as the page that compares them shows it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, TypeAlias

from server.catalog.byte_by_byte import MemoryComparison
from server.catalog.line_places import by_address, line_at
from server.catalog.records import Comparison
from server.catalog.side_by_side import page_of
from server.catalog.tape_values import Page
from server.tape.bytes_diff import BytesChange
from server.tape.cpu.notation import Notation
from server.web.differences import Steps, paged, steps_on
from server.web.listed import page_of_line

ROWS_A_PAGE: Final = 100

Written: TypeAlias = Callable[[Notation], str]
"""A number as a notation writes it."""


@dataclass(frozen=True, slots=True)
class Numbers:
    """The same number as a page writes it: in hexadecimal, and in another notation if wanted."""

    hex: str
    other: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One side of a difference: its address, what stands there, and the line that shows it.

    `held` is None where nothing is loaded; then `href` is too.
    """

    address: Numbers
    held: Numbers | None
    href: str | None


@dataclass(frozen=True, slots=True)
class MemoryRow:
    """Cells that differ, on both sides; `anchor` is named after the address on the left."""

    anchor: str
    kind: str
    left: Cell
    right: Cell


@dataclass(frozen=True, slots=True)
class MemoryPart:
    """A page of the differences; `notation` is what numbers are written in besides hexadecimal."""

    compared: MemoryComparison
    part: Page[MemoryRow]
    steps: dict[str, Steps]
    notation: Notation

    @classmethod
    def of(
        cls, compared: MemoryComparison, about: Comparison, page: int, asked: Notation | None
    ) -> "MemoryPart":
        """The page of that number, in the notation asked for or else in that of the machine."""
        changes = page_of(compared.changes, page, ROWS_A_PAGE)
        notation = asked or compared.writing.notation
        rows = _Rows(about, compared.writing.cell_bytes, notation)
        anchors = (_anchor(each) for each in compared.changes)
        return cls(
            compared=compared,
            part=Page(
                tuple(rows.of(each) for each in changes.rows),
                changes.total,
                changes.page,
                changes.page_size,
            ),
            steps=steps_on(changes.page, paged(anchors, ROWS_A_PAGE)),
            notation=notation,
        )


def _anchor(change: BytesChange) -> str:
    return f"m{Notation.HEX.address(change.left_at)}"


class _Rows:
    """Differences as rows, in two notations where the second is another one."""

    def __init__(self, about: Comparison, cell_bytes: int, notation: Notation) -> None:
        self._cell_bytes = cell_bytes
        self._notation = notation
        self._sides = tuple(
            (image.sha256, by_address(lines))
            for image, lines in ((about.a, about.left), (about.b, about.right))
        )

    def of(self, change: BytesChange) -> MemoryRow:
        return MemoryRow(
            _anchor(change),
            change.kind,
            self._cell(0, change.left_at, change.left),
            self._cell(1, change.right_at, change.right),
        )

    def _cell(self, side: int, at: int, held: bytes) -> Cell:
        address = self._numbers(lambda way: way.address(at, self._cell_bytes))
        if not held:
            return Cell(address, None, None)
        size = self._cell_bytes
        values = [int.from_bytes(held[i : i + size]) for i in range(0, len(held), size)]
        shown = self._numbers(lambda way: " ".join(way.cell(each, size) for each in values))
        return Cell(address, shown, self._href(side, at))

    def _numbers(self, written: Written) -> Numbers:
        other = "" if self._notation is Notation.HEX else written(self._notation)
        return Numbers(written(Notation.HEX), other)

    def _href(self, side: int, at: int) -> str:
        sha256, starts = self._sides[side]
        line = line_at(starts, at)
        if line is None:
            return f"/images/{sha256}/listing"
        return f"/images/{sha256}/listing?page={page_of_line(line)}#L{line}"
