"""Findings, and defects of the paper, marked on a picture of a tape.

Each by a frame, a shape and words, not by colour alone.
"""

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from math import inf
from typing import Final, NamedTuple

from server.tape.findings import Finding, Severity
from server.tape.image import FRAME_PITCH_MM
from server.tape.paper_defects import PaperDefect

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

_DEFECT: Final = "#5a3d8a"
_TRAITS: Final = {
    "break": _Look("m-1.2 1.8l.8-1.7.8 1.7.8-1.7", _DEFECT, filled=False),
    "holes": _Look("m-1 1a1 1 0 1 0 2 0a1 1 0 1 0-2 0", _DEFECT, filled=False),
    "shape": _Look("m-1.3 1.1q.65-1.8 1.3 0t1.3 0", _DEFECT, filled=False),
    "surface": _Look("m-1 .1l2 2m-2 0l2-2", _DEFECT, filled=False),
}
"""Defects of the paper: a zigzag, a ring, a wave, a cross."""

_DASHES: Final = {Severity.DAMAGE: "", "defect": ".2 .7"}
_USUAL_DASHES: Final = "1 .6"

_GRAVEST: Final = (Severity.DAMAGE, Severity.WARNING, Severity.NOTE)


class _Place(NamedTuple):
    """What is marked, and the frames of it that are drawn: the first place and how many."""

    name: str
    label: str
    look: _Look
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


def defect_in_words(defect: PaperDefect) -> str:
    """A defect for those who do not see its mark, ready to stand in the picture."""
    return escape("".join(each if each.isprintable() else " " for each in defect.told))


def _kind(finding: Finding) -> str:
    return finding.kind.replace("-", " ")


def marks_of(
    findings: Sequence[Finding], numbers: range, sheet: Sheet, defects: Sequence[PaperDefect] = ()
) -> Marks:
    """The marks of what has a frame among `numbers`, as all of it must, from left to right."""
    found = [
        _Place(each.severity, _kind(each), _LOOKS[each.severity], *_placed(each, numbers))
        for each in findings
    ]
    noted = [
        _Place("defect", each.kind, _TRAITS[each.trait], *_placed(each, numbers))
        for each in defects
    ]
    places = sorted((*found, *noted), key=lambda each: each.first)
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


def _placed(marked: Finding | PaperDefect, numbers: range) -> tuple[int, int]:
    shown = [
        place
        for place, number in enumerate(numbers)
        if marked.frame <= number < marked.frame + max(marked.frames, 1)
    ]
    return shown[0], len(shown)


def _centre(place: _Place, sheet: Sheet) -> float:
    return sheet.left + FRAME_PITCH_MM * (place.first + 0.5)


def _reach(place: _Place, sheet: Sheet) -> float:
    """How far to the right the words of a mark reach."""
    return _centre(place, sheet) + _LETTER_MM * (len(place.label) + 1)


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
    look = place.look
    x, y = _centre(place, sheet), sheet.top + sheet.across
    pattern = _DASHES.get(place.name, _USUAL_DASHES)
    dashes = f' stroke-dasharray="{pattern}"' if pattern else ""
    yield f'<g class="picture-{place.name}" fill="{look.colour}" stroke="{look.colour}" '
    yield f'stroke-width=".3"><rect x="{x - FRAME_PITCH_MM / 2:.2f}" y="{sheet.top}" width="'
    yield f'{FRAME_PITCH_MM * place.frames:.2f}" height="{sheet.across}" fill="none" '
    yield f'stroke="{look.colour}"{dashes}/>'
    filled = "" if look.filled else ' fill="none"'
    yield f'<path d="M{x:.2f} {y + 0.3:.2f}{look.shape}"{filled}/>'
    if lane is not None:
        baseline = y + _SHAPE_MM + _LANE_MM * (lane + 0.75)
        yield f'<path d="M{x:.2f} {y + _SHAPE_MM:.2f}V{baseline:.2f}" stroke-width=".15"/>'
        yield f'<text x="{x + 0.7:.2f}" y="{baseline:.2f}" stroke="none">{escape(place.label)}'
        yield "</text>"
    yield "</g>"
