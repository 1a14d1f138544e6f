"""Whether a load sheet fits one page, and in which size of letters: known before it is printed.

The page is what A4 and Letter have in common between margins of 12 mm. Letters are taken for as
wide as those of a wide sans serif, so that the sheet fits with a narrower one too. Sizes of
paper: ISO 216 (A4: 210 by 297 mm); ANSI/ASME Y14.1 (Letter: 8.5 by 11 in), both from memory.
"""

from dataclasses import dataclass
from math import ceil
from typing import Final

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
CELL_COLUMNS: Final = 4
CELL_COLUMNS_WITH_REMARKS: Final = 2

_POINTS_A_MM: Final = 72 / MM_PER_INCH
_ADDRESS_PT: Final = 34
"""What the line with the address of the page takes below it, were it two lines long."""

_SAFETY: Final = 0.97

_NARROW: Final = frozenset("iljtfrI.,:;'|!()[]-/ ")
_WIDE: Final = frozenset("mwMWOQG@%&—…")


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
    title = lines_of(sheet.heading, whole / TITLE / 1.1) * TITLE
    below = lines_of(sheet.machine, whole) if sheet.machine else 0
    body = sum(_lines(section, points) + BETWEEN / LINE for section in told)
    last = lines_of(imprint(sheet), whole) + BETWEEN / LINE
    return (title + below + body + last) * LINE * points


def _lines(section: Section, points: int) -> float:
    """How many lines high a section is."""
    headings = HEADINGS_MM * _POINTS_A_MM / points
    width = WIDTH_MM * _POINTS_A_MM / points - headings
    heading = lines_of(section.heading, (headings - 1) / 1.1)
    inner = width - STEP_INDENT if section.look in (Look.STEPS, Look.CAUTIONS) else width
    text = sum(lines_of(line, inner) for line in section.lines)
    return max(heading, text + _cell_lines(section, width))


def _cell_lines(section: Section, width: float) -> float:
    columns = columns_of(section)
    heights = [
        lines_of(f"{cell.address}MM{cell.contents}MM{cell.remark}", width / columns - 1.5)
        for cell in section.cells
    ]
    # Columns are evened out, but no cell is parted.
    return ceil(sum(heights) / columns) + (max(heights) - 1 if heights else 0)


def columns_of(section: Section) -> int:
    """In how many columns its cells stand."""
    remarks = any(cell.remark for cell in section.cells)
    return CELL_COLUMNS_WITH_REMARKS if remarks else CELL_COLUMNS


def lines_of(text: str, width: float) -> int:
    """How many lines `text` takes, broken between words, in a column of `width` letters' sizes."""
    lines, used = 1, 0.0
    for word in text.split(" "):
        wide = sum(_wide(each) for each in word)
        if used and used + _wide(" ") + wide > width:
            lines, used = lines + 1, 0.0
        used += (_wide(" ") if used else 0.0) + wide
        if used > width:
            # A word longer than the line is broken anywhere.
            lines += int(used // width)
            used %= width
    return lines


def _wide(character: str) -> float:
    """How wide a character is, of the size of its letters (a wide sans serif, from memory)."""
    if character in _NARROW:
        return 0.42
    if character in _WIDE or ord(character) > 0x2FF:
        return 1.0
    return 0.72 if character.isupper() else 0.64
