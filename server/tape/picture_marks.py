"""Findings marked on a picture of a tape: by a frame, a shape and words, not by colour alone."""

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from math import inf
from typing import Final, NamedTuple

from server.tape.findings import Finding, Severity
from server.tape.image import FRAME_PITCH_MM

MOST_MARKS: Final = 40
"""Findings that are marked on one strip, and told in the words that go with it."""

_MOST_LANES: Final = 4
"""Rows of words below a strip; a mark for which there is no room keeps its shape alone."""

_SHAPE_MM, _LANE_MM, _LETTER_MM = 2.6, 4.0, 1.8
"""Height of the row of shapes, of a row of words, and about the width of a letter."""


class Sheet(NamedTuple):
    """Where the tape lies on the picture, in mm: from the left, from the top, and its width."""

    left: float
    top: float
    across: float


class Marks(NamedTuple):
    """What is drawn of findings, and how far to the right and down it reaches, in mm."""

    drawn: tuple[str, ...]
    right: float
    bottom: float


class _Look(NamedTuple):
    """How findings of one severity look: a path below the tape, and its colour."""

    shape: str
    colour: str
    filled: bool


_LOOKS: Final = {
    Severity.DAMAGE: _Look("l1.2 2.1h-2.4z", "#a01c24", filled=True),
    Severity.WARNING: _Look("l1.1 1.1-1.1 1.1-1.1-1.1z", "#7f4f00", filled=False),
    Severity.NOTE: _Look("m-.9 .2h1.8v1.8h-1.8z", "#2b4a7f", filled=False),
}
"""A full triangle, an empty diamond, an empty square."""

_GRAVEST: Final = (Severity.DAMAGE, Severity.WARNING, Severity.NOTE)


class _Place(NamedTuple):
    """A finding, and the frames of it that are drawn: the first place and how many."""

    finding: Finding
    first: int
    frames: int


def gravest(findings: Iterable[Finding]) -> list[Finding]:
    """The gravest of `findings`, `MOST_MARKS` at most, in the order of the tape."""
    chosen = sorted(findings, key=lambda each: _GRAVEST.index(each.severity))[:MOST_MARKS]
    return sorted(chosen, key=lambda each: each.frame)


def in_words(finding: Finding) -> str:
    """A finding for those who do not see its mark, ready to stand in the picture."""
    last = finding.frame + finding.frames - 1
    extent = f"frame {finding.frame:,}" + (f" to {last:,}" if last > finding.frame else "")
    text = f"{finding.severity}, {_kind(finding)}, {extent}: {finding.message}"
    return escape("".join(each if each.isprintable() else " " for each in text))


def _kind(finding: Finding) -> str:
    return finding.kind.replace("-", " ")


def marks_of(findings: Sequence[Finding], numbers: range, sheet: Sheet) -> Marks:
    """The marks of `findings`, each of which has a frame among `numbers`, from left to right."""
    places = sorted((_placed(each, numbers) for each in findings), key=lambda each: each.first)
    lanes = _lanes(places, sheet)
    drawn = tuple(
        "".join(_mark(place, lane, sheet)) for place, lane in zip(places, lanes, strict=True)
    )
    below = sheet.top + sheet.across
    rows = max((lane for lane in lanes if lane is not None), default=-1) + 1
    return Marks(
        drawn,
        max((_reach(place, sheet) for place in places), default=0.0),
        below + _SHAPE_MM + _LANE_MM * rows + 1 if places else below,
    )


def _placed(finding: Finding, numbers: range) -> _Place:
    shown = [
        place
        for place, number in enumerate(numbers)
        if finding.frame <= number < finding.frame + max(finding.frames, 1)
    ]
    return _Place(finding, shown[0], len(shown))


def _centre(place: _Place, sheet: Sheet) -> float:
    return sheet.left + FRAME_PITCH_MM * (place.first + 0.5)


def _reach(place: _Place, sheet: Sheet) -> float:
    """How far to the right the words of a mark reach."""
    return _centre(place, sheet) + _LETTER_MM * (len(_kind(place.finding)) + 1)


def _lanes(places: Sequence[_Place], sheet: Sheet) -> list[int | None]:
    """The row of words of each mark; None where no row has room for them.

    From right to left: the line down to a row takes the room at its place in the rows above.
    """
    room = [inf] * _MOST_LANES
    lanes: list[int | None] = []
    for place in reversed(places):
        reach = _reach(place, sheet)
        lane = next((at for at, start in enumerate(room) if reach < start), None)
        if lane is not None:
            room[: lane + 1] = [_centre(place, sheet)] * (lane + 1)
        lanes.append(lane)
    return lanes[::-1]


def _mark(place: _Place, lane: int | None, sheet: Sheet) -> Iterator[str]:
    finding = place.finding
    look = _LOOKS[finding.severity]
    x, y = _centre(place, sheet), sheet.top + sheet.across
    dashes = "" if finding.severity is Severity.DAMAGE else ' stroke-dasharray="1 .6"'
    yield f'<g class="picture-{finding.severity}" fill="{look.colour}" stroke="{look.colour}" '
    yield f'stroke-width=".3"><rect x="{x - FRAME_PITCH_MM / 2:.2f}" y="{sheet.top}" width="'
    yield f'{FRAME_PITCH_MM * place.frames:.2f}" height="{sheet.across}" fill="none" '
    yield f'stroke="{look.colour}"{dashes}/>'
    filled = "" if look.filled else ' fill="none"'
    yield f'<path d="M{x:.2f} {y + 0.3:.2f}{look.shape}"{filled}/>'
    if lane is not None:
        baseline = y + _SHAPE_MM + _LANE_MM * (lane + 0.75)
        yield f'<path d="M{x:.2f} {y + _SHAPE_MM:.2f}V{baseline:.2f}" stroke-width=".15"/>'
        yield f'<text x="{x + 0.7:.2f}" y="{baseline:.2f}" stroke="none">{escape(_kind(finding))}'
        yield "</text>"
    yield "</g>"
