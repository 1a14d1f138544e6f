"""A span of frames drawn as a strip of tape, true to scale, as an SVG picture."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, pairwise
from typing import Final, NamedTuple

from server.tape.dimensions import (
    CODE_HOLE_MM,
    FEED_HOLE_MM,
    FEED_LINE_MM,
    TAPE_WIDTH_MM,
    channel_mm,
    pitches_from_feed,
)
from server.tape.findings import Finding
from server.tape.image import FRAME_PITCH_MM, Image, Orientation, Span
from server.tape.paper_defects import PaperDefect
from server.tape.picture_marks import (
    MOST_MARKS,
    Marks,
    Sheet,
    defect_in_words,
    gravest,
    in_words,
    marks_of,
)

MOST_FRAMES: Final = 400
"""Frames of the longest strip, about a metre of tape."""

_LEFT_MM, _RIGHT_MM, _TOP_MM, _BOTTOM_MM = 6.0, 7.0, 7.5, 1.0
"""Around the tape: channel numbers on the left, the scale on top."""

_NUMBERED: Final = 10
"""Frames between two numbers: an inch."""

_TICKED: Final = 5

_TURNS: Final = {
    Orientation.AS_READ: "as it was read",
    Orientation.REVERSED: "end for end of how it was read",
    Orientation.MIRRORED: "on the other face of how it was read",
    Orientation.REVERSED_MIRRORED: "end for end and on the other face of how it was read",
}


class _Strip(NamedTuple):
    """What is drawn: `frames`, turned, the number as read of each, and where the tape ends."""

    frames: bytes
    numbers: range
    levels: int
    whole: int

    @property
    def across(self) -> float:
        """Width of the tape, in mm."""
        return TAPE_WIDTH_MM[self.levels]

    @property
    def along(self) -> float:
        """Length of the strip, in mm."""
        return FRAME_PITCH_MM * len(self.frames)

    def centre(self, place: int) -> float:
        """How far from the left the holes of the frame at that place stand, in mm."""
        return _LEFT_MM + FRAME_PITCH_MM * (place + 0.5)


def strip(
    image: Image,
    span: Span,
    findings: Iterable[Finding] = (),
    *,
    orientation: Orientation = Orientation.AS_READ,
    defects: Iterable[PaperDefect] = (),
) -> str:
    """The frames in `span` of `image` as an SVG picture, findings and defects among them marked.

    Frames, in `span`, in findings and defects and along the edge of the picture, are those of
    the image as read; the tape is drawn as it lies when turned to `orientation`, channel 1 at the
    bottom. At most `MOST_MARKS` findings are marked, the gravest, and as many defects. The unit
    is the millimetre, and the picture prints in its true size. It holds no style sheet and needs
    none; a page may style its classes: picture-ground, picture-paper, picture-edge,
    picture-holes, picture-scale, and picture-damage, picture-warning, picture-note and
    picture-defect.

    Raises:
        ValueError: the span is empty, longer than `MOST_FRAMES`, or not all in the image.
    """
    if not 0 <= span.start < span.stop <= len(image):
        raise ValueError(f"an image of {len(image)} frames has no span {span.start} to {span.stop}")
    if span.frames > MOST_FRAMES:
        raise ValueError(f"{span.frames} frames are more than the {MOST_FRAMES} of one strip")
    drawn = _turned(image, span, orientation)
    told = gravest(each for each in findings if _overlaps(each, span))
    noted = [each for each in defects if _overlaps(each, span)][:MOST_MARKS]
    marks = marks_of(told, drawn.numbers, Sheet(_LEFT_MM, _TOP_MM, drawn.across), noted)
    parts = (
        *_in_words(drawn, told, noted, orientation),
        *_paper(drawn),
        *_holes(drawn),
        *_scale(drawn),
    )
    return "".join((_opening(drawn, marks), *parts, *marks.drawn, "</svg>"))


def _turned(image: Image, span: Span, orientation: Orientation) -> _Strip:
    part = Image(image.frames[slice(*span)], image.levels).turned(orientation)
    numbers = range(*span)
    turned = numbers[::-1] if orientation.runs_backwards else numbers
    return _Strip(part.frames, turned, image.levels, len(image))


def _overlaps(marked: Finding | PaperDefect, span: Span) -> bool:
    return marked.frame < span.stop and marked.frame + max(marked.frames, 1) > span.start


def _opening(drawn: _Strip, marks: Marks) -> str:
    width = max(_LEFT_MM + drawn.along + _RIGHT_MM, marks.right)
    height = max(_TOP_MM + drawn.across + _BOTTOM_MM, marks.bottom)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="picture" role="img" '
        f'viewBox="0 0 {width:.2f} {height:.2f}" width="{width:.2f}mm" height="{height:.2f}mm" '
        'font-family="system-ui,sans-serif" font-size="3">'
    )


def _in_words(
    drawn: _Strip,
    findings: list[Finding],
    defects: list[PaperDefect],
    orientation: Orientation,
) -> Iterator[str]:
    """The picture for those who do not see it."""
    first, last = min(drawn.numbers), max(drawn.numbers)
    holes = ", ".join(_hexadecimal(drawn.frames))
    told = "; ".join(map(in_words, findings)) or "none"
    yield f"<title>Frames {first:,} to {last:,} of {drawn.whole:,}</title>"
    yield f"<desc>{drawn.levels} levels, {_mm(first)} to {_mm(last)} from the first frame, drawn "
    yield f"{_TURNS[orientation]}. The frames from left to right, in hexadecimal: {holes}. "
    noted = "; ".join(map(defect_in_words, defects))
    yield f"Findings: {told}.{f' Defects: {noted}.' if noted else ''}</desc>"


def _hexadecimal(frames: bytes) -> Iterator[str]:
    for frame, run in groupby(frames):
        times = sum(1 for _ in run)
        yield f"{frame:02X}" if times == 1 else f"{frame:02X} {times} times"


def _mm(frame: int) -> str:
    return f"{frame * FRAME_PITCH_MM:,.1f} mm"


def _paper(drawn: _Strip) -> Iterator[str]:
    """The tape without its holes; where it goes on, it has no edge."""
    x, y, length, across = _LEFT_MM, _TOP_MM, drawn.along, drawn.across
    backwards = drawn.numbers.step < 0
    ends = (drawn.whole - 1, 0) if backwards else (0, drawn.whole - 1)
    edges = f"M{x} {y}h{length:.2f}m0 {across}h-{length:.2f}"
    edges += f"M{x} {y}v{across}" if drawn.numbers[0] == ends[0] else ""
    edges += f"M{x + length:.2f} {y}v{across}" if drawn.numbers[-1] == ends[1] else ""
    yield '<rect class="picture-ground" width="100%" height="100%" fill="#fff"/>'
    yield f'<rect class="picture-paper" x="{x}" y="{y}" width="{length:.2f}" height="{across}" '
    yield f'fill="#ead9ae"/><path class="picture-edge" d="{edges}" fill="none" '
    yield 'stroke="#9a8551" stroke-width=".25"/>'


def _holes(drawn: _Strip) -> Iterator[str]:
    """A path for the feed holes and one for each channel, in pitches from the first feed hole.

    A hole is a line without length, whose round ends make a disc.
    """
    feed = _TOP_MM + drawn.across - FEED_LINE_MM
    yield f'<g class="picture-holes" transform="translate({drawn.centre(0):.2f} {feed:.2f}) '
    yield f'scale({FRAME_PITCH_MM})" fill="none" stroke="#2f2a1e" stroke-linecap="round">'
    yield _discs(range(len(drawn.frames)), 0, FEED_HOLE_MM)
    for channel in range(1, drawn.levels + 1):
        bit = 1 << channel - 1
        punched = [place for place, frame in enumerate(drawn.frames) if frame & bit]
        if punched:
            yield _discs(punched, -pitches_from_feed(channel), CODE_HOLE_MM)
    yield "</g>"


def _discs(places: Sequence[int], row: int, diameter: float) -> str:
    steps = "".join(f"m{after - before} 0h0" for before, after in pairwise(places))
    width = f"{diameter / FRAME_PITCH_MM:.4f}"
    return f'<path d="M{places[0]} {row}h0{steps}" stroke-width="{width}"/>'


def _scale(drawn: _Strip) -> Iterator[str]:
    """Numbers and millimetres of frames above the tape, and of channels beside it."""
    numbered = [each for each in enumerate(drawn.numbers) if each[1] % _NUMBERED == 0]
    ticks = "".join(
        f"M{drawn.centre(place):.2f} {_TOP_MM}v-{1.4 if number % _NUMBERED == 0 else 0.8}"
        for place, number in enumerate(drawn.numbers)
        if number % _TICKED == 0
    )
    yield '<g class="picture-scale" fill="#3d4744">'
    if ticks:
        yield f'<path d="{ticks}" fill="none" stroke="#3d4744" stroke-width=".2"/>'
    yield '<g text-anchor="middle">'
    for place, number in numbered or [(0, drawn.numbers[0])]:
        x = f"{drawn.centre(place):.2f}"
        yield f'<text x="{x}" y="2.7">{number:,}</text>'
        yield f'<text x="{x}" y="5.6" font-size="2.5">{_mm(number)}</text>'
    yield '</g><g text-anchor="end" font-size="2.5">'
    for channel in range(1, drawn.levels + 1):
        y = _TOP_MM + drawn.across - channel_mm(channel) + 0.9
        yield f'<text x="{_LEFT_MM - 0.8}" y="{y:.2f}">{channel}</text>'
    yield "</g></g>"
