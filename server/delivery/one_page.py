"""Whether a load sheet fits one page, and in which size of letters: known before it is printed.

The page is what A4 and Letter have in common between margins of 12 mm. Sizes of paper: ISO 216
(A4: 210 by 297 mm); ANSI/ASME Y14.1 (Letter: 8.5 by 11 in), both from memory. The stylesheet
asks for faces that are all as wide as each other; see `LETTER_WIDTHS`.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil
from types import MappingProxyType
from typing import Final
from unicodedata import normalize

from server.catalog.key_in import Cell
from server.catalog.load_sheet_values import SheetRecord
from server.delivery.sheet_sections import Look, Section, imprint, sections
from server.tape.findings import MM_PER_INCH

SIZES: Final = (11, 10, 9)
"""Points, from the size that is read at arm's length to the smallest that is read at a machine."""

MARGIN_MM: Final = 12
WIDTH_MM: Final = 210 - 2 * MARGIN_MM
HEIGHT_MM: Final = 11 * MM_PER_INCH - 2 * MARGIN_MM

LINE: Final = 1.3
"""Height of a line, in letters' sizes; as the stylesheet has it, and so are those below."""

TITLE: Final = 1.4
HEADINGS_MM: Final = 34
BETWEEN: Final = 0.55
STEP_INDENT: Final = 2.2
CELL_INDENT: Final = 0.8
CELL_GAP: Final = 1.5
CELLS_IN_ONE_COLUMN: Final = 6
CELL_COLUMNS: Final = 4
CELL_COLUMNS_WITH_REMARKS: Final = 2

_WIDTHS: Final = """
    191 '  222 ijl\N{LEFT SINGLE QUOTATION MARK}\N{RIGHT SINGLE QUOTATION MARK}  260 |
    278 I!,./:;[\\]ft\N{NO-BREAK SPACE}  333 ()-`r“”  334 {}  355 "  389 *  469 ^
    500 Jckszvxy  556 $#?_0123456789Labdeghnopqu\N{EN DASH}  584 +<=>~\N{MULTIPLICATION SIGN}
    611 FTZ  667 &ABEKPSVXY  722 CDHNRUw  778 GOQ  833 Mm  889 %  944 W  1000 —…  1015 @
"""

LETTER_WIDTHS: Final[Mapping[str, float]] = MappingProxyType(
    {" ": 0.278}
    | {
        character: int(thousandths) / 1000
        for thousandths, characters in (
            each.split(" ", 1) for each in re.split(r" {2,}|\n +", _WIDTHS.strip())
        )
        for character in characters
    }
)
"""Widths in letters' sizes of the sans serif that printers have built in, and of the faces that
are made to its measure (the metrics file of that face, from memory; a test asks the browser)."""

_OTHERS: Final = 1.0
"""No character of another script is wider than the letters are high."""

_BOLD: Final = 1.1
_MONO: Final = 0.61
"""Faces of fixed width: 0.6 or little more (common practice, no source)."""

_POINTS_A_MM: Final = 72 / MM_PER_INCH
_ADDRESS_PT: Final = 28
"""What the line with the address of the page takes below it, were it two lines long."""

_SAFETY: Final = 0.985

Wide = Callable[[str], float]


@dataclass(frozen=True, slots=True)
class Fit:
    """The size of letters to print a sheet in; `lines_over` is how many lines do not fit."""

    points: int
    lines_over: int

    @property
    def spills(self) -> bool:
        """Whether a second page is needed even in the smallest letters."""
        return self.lines_over > 0


def fit_of(sheet: SheetRecord) -> Fit:
    """The largest size in which the sheet fits one page; the smallest where none does."""
    room = HEIGHT_MM * _POINTS_A_MM * _SAFETY - _ADDRESS_PT
    told = sections(sheet)
    fitting = next((size for size in SIZES if _height(sheet, told, size) <= room), None)
    if fitting:
        return Fit(fitting, 0)
    smallest = SIZES[-1]
    return Fit(smallest, ceil((_height(sheet, told, smallest) - room) / (LINE * smallest)))


def _height(sheet: SheetRecord, told: tuple[Section, ...], points: int) -> float:
    """How many points high the sheet is in letters of `points`."""
    whole = WIDTH_MM * _POINTS_A_MM / points
    title = lines_of(sheet.heading, whole / TITLE, _bold) * TITLE
    below = lines_of(sheet.machine, whole) if sheet.machine else 0
    body = sum(_lines(section, points) + BETWEEN / LINE for section in told)
    last = lines_of(imprint(sheet), whole) + BETWEEN / LINE
    return (title + below + body + last) * LINE * points


def _lines(section: Section, points: int) -> float:
    """How many lines high a section is."""
    headings = HEADINGS_MM * _POINTS_A_MM / points
    width = WIDTH_MM * _POINTS_A_MM / points - headings
    heading = lines_of(section.heading, headings - 1, _bold)
    inner = width - STEP_INDENT if section.look in (Look.STEPS, Look.CAUTIONS) else width
    text = sum(lines_of(line, inner) for line in section.lines)
    return max(heading, text + _cell_lines(section, width))


def _cell_lines(section: Section, width: float) -> float:
    columns = columns_of(section)
    within = (width - CELL_GAP * (columns - 1)) / columns
    heights = [_cell_height(cell, within) for cell in section.cells]
    # Columns are evened out, but no cell is parted.
    return ceil(sum(heights) / columns) + (max(heights) - 1 if heights else 0)


def _cell_height(cell: Cell, width: float) -> int:
    beside = width - _mono(cell.address) - CELL_INDENT
    return lines_of(f"{cell.contents} {cell.remark}".rstrip(), beside, _mono)


def columns_of(section: Section) -> int:
    """In how many columns its cells stand: a few are read best one below the other."""
    if len(section.cells) <= CELLS_IN_ONE_COLUMN:
        return 1
    remarks = any(cell.remark for cell in section.cells)
    return CELL_COLUMNS_WITH_REMARKS if remarks else CELL_COLUMNS


def _plain(text: str) -> float:
    # An accented letter is as wide as the letter without its accent.
    return sum(LETTER_WIDTHS.get(normalize("NFD", each)[0], _OTHERS) for each in text)


def _bold(text: str) -> float:
    return _plain(text) * _BOLD


def _mono(text: str) -> float:
    return sum(_MONO if each in LETTER_WIDTHS else _OTHERS for each in text)


def lines_of(text: str, width: float, wide: Wide = _plain) -> int:
    """How many lines `text` takes, broken between words, in a column of `width` letters' sizes."""
    lines, used, blank = 1, 0.0, wide(" ")
    for word in text.split(" "):
        size = wide(word)
        if used and used + blank + size > width:
            lines, used = lines + 1, 0.0
        used += (blank if used else 0.0) + size
        if used > width:
            # A word longer than the line is broken anywhere.
            lines += int(used // width)
            used %= width
    return lines
