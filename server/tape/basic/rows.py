"""The rows of a walked program, as lines of a listing and findings on what is odd in them."""

from collections.abc import Iterator, Sequence
from operator import lt
from typing import Final

from server.tape.alignment import rising
from server.tape.basic.dialect import Dialect
from server.tape.basic.links import HEADER, LONGEST
from server.tape.basic.program import HIGHEST_NUMBER
from server.tape.basic.uncrunch import Uncrunched, uncrunch, uncrunch_all
from server.tape.basic.walk import Row
from server.tape.findings import Finding, Severity
from server.tape.listing import Line

_LINK: Final = 2


def read_rows(
    frames: bytes, rows: Sequence[Row], dialect: Dialect
) -> tuple[list[Line], list[Finding]]:
    """Each row as the interpreter lists it, and what is odd in the sound ones.

    Of a damaged stretch that is longer than any line, only as much as a line holds is shown.
    """
    sound = [row for row in rows if row.sound]
    texts, odd = uncrunch_all([frames[row.start + HEADER : row.stop - 1] for row in sound], dialect)
    findings = [
        finding
        for place, read in odd.items()
        for finding in _oddities(frames, sound[place].start + HEADER, read)
    ]
    whole = [
        Line(f"{row.number} {text}", row.start, row.stop - row.start, row.number)
        for row, text in zip(sound, texts, strict=True)
    ]
    if len(whole) == len(rows):
        return whole, findings
    damaged = [
        _damaged_line(frames, row, number, dialect)
        for row, number in zip(rows, _believed_numbers(rows), strict=True)
        if not row.sound
    ]
    return sorted([*whole, *damaged], key=_frame), findings


def _frame(line: Line) -> int:
    return line.frame


def _damaged_line(frames: bytes, row: Row, number: int | None, dialect: Dialect) -> Line:
    start = _text_start(row, number)
    stop = row.stop if frames[row.stop - 1] else row.stop - 1
    text = uncrunch(frames[start : min(stop, start + LONGEST)], dialect).text
    shown = text if number is None else f"{number} {text}"
    return Line(shown, row.start, row.stop - row.start, number)


def number_findings(rows: Sequence[Row]) -> list[Finding]:
    """The sound rows whose number does not rise, or is one that nobody can type in."""
    sound = [row for row in rows if row.sound]
    numbers = [row.number or 0 for row in sound]
    if all(map(lt, numbers, numbers[1:])) and max(numbers, default=0) <= HIGHEST_NUMBER:
        return []
    in_order = frozenset(rising(numbers))
    return [
        Finding(
            kind="line-number-order",
            severity=Severity.DAMAGE if number <= HIGHEST_NUMBER else Severity.WARNING,
            frame=row.start + _LINK,
            frames=HEADER - _LINK,
            message=f"line number {number} is out of order"
            if number <= HIGHEST_NUMBER
            else f"line number {number} is above {HIGHEST_NUMBER}, the highest that can be typed",
            advice="an interpreter keeps its lines in order: compare these frames with the tape",
        )
        for place, (row, number) in enumerate(zip(sound, numbers, strict=True))
        if place not in in_order or number > HIGHEST_NUMBER
    ]


def _text_start(row: Row, number: int | None) -> int:
    """The first frame that is shown as text: of a damaged line, all but its link."""
    header = 0 if row.number is None else _LINK if number is None else HEADER
    return min(row.start + header, row.stop)


def _believed_numbers(rows: Sequence[Row]) -> list[int | None]:
    """The number of each row; None for a damaged row whose number does not fit its neighbours."""
    believed: list[int | None] = [row.number if row.sound else None for row in rows]
    below = HIGHEST_NUMBER + 1
    belows = []
    for number in reversed(believed):
        belows.append(below)
        below = below if number is None else number
    above = -1
    for place, (row, limit) in enumerate(zip(rows, reversed(belows), strict=True)):
        if not row.sound and row.number is not None and above < row.number < limit:
            believed[place] = row.number
        number = believed[place]
        above = above if number is None else number
    return believed


def _oddities(frames: bytes, start: int, read: Uncrunched) -> Iterator[Finding]:
    """What stands in a sound line and stands for nothing there, a finding a kind."""
    for offsets, kind, severity, what, advice in (
        (
            read.unknown,
            "unknown-token",
            Severity.WARNING,
            "not a token of this dialect",
            "compare the frame with the tape; many of them mean another dialect",
        ),
        (
            read.literal,
            "token-in-text",
            Severity.NOTE,
            "not a character, and nothing is expanded in a string, a remark or data",
            "compare the frame with the tape; some programs put such bytes there on purpose",
        ),
        (
            read.control,
            "control-character",
            Severity.WARNING,
            "a control character",
            "compare the frame with the tape; some programs ring a bell or clear the paper",
        ),
    ):
        if offsets:
            at = start + offsets[0]
            count = len(offsets)
            others = f"; {count - 1} more in this line" if count > 1 else ""
            yield Finding(kind, severity, at, 1, f"{frames[at]:02X} is {what}{others}", advice)
