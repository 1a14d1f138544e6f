"""Letters punched as pictures, to be read by eye, in the leader or trailer of a tape."""

from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from server.tape.findings import Finding, Severity
from server.tape.image import Frames, Image, Span
from server.tape.lettering.chunks import first_chunk
from server.tape.lettering.reading import read_letters
from server.tape.lettering.writing import APART, letter_frames

__all__ = [
    "APART",
    "Lettering",
    "find_lettering",
    "letter_frames",
    "lettering_findings",
    "without_lettering",
]

_MOST: Final = 16
"""Texts that are looked for at one end of a tape."""


class Lettering(NamedTuple):
    """A text punched as a picture: where it stands, what it says, how sure (0 to 1)."""

    span: Span
    text: str
    confidence: float


def find_lettering(image: Image) -> tuple[Lettering, ...]:
    """The lettering at both ends of `image`, in its order.

    Letters 5 to 8 holes high and broad are read, upright or in any of the three other ways in
    which a tape may be turned; a wrong hole in a letter makes it less sure. What stands behind
    the first thing that is no lettering, as seen from each end, is not looked at.
    """
    front = list(_texts(image.array, image.levels, backwards=False))
    start = front[-1].span.stop if front else 0
    rest = image.array[start:][::-1]
    behind = [
        each._replace(span=Span(len(image) - each.span.stop, len(image) - each.span.start))
        for each in _texts(rest, image.levels, backwards=True)
    ]
    return (*front, *reversed(behind))


def _texts(array: Frames, levels: int, *, backwards: bool) -> Iterator[Lettering]:
    """The texts from the start of `array` on, which may have been turned end for end."""
    start = 0
    for _ in range(_MOST):
        span = first_chunk(array, start)
        if span is None:
            return
        columns = array[slice(*span)]
        reading = read_letters(columns[::-1] if backwards else columns, levels)
        if reading is None:
            return
        yield Lettering(span, *reading)
        start = span.stop


def lettering_findings(letterings: Iterable[Lettering]) -> tuple[Finding, ...]:
    """A note for each text."""
    return tuple(
        Finding(
            kind="lettering",
            severity=Severity.NOTE,
            frame=each.span.start,
            frames=each.span.frames,
            message=f"letters punched as a picture say \u201c{each.text}\u201d, "
            f"read with {each.confidence:.0%} confidence",
            advice="compare the text with what the eye reads on the tape; it carries no data",
        )
        for each in letterings
    )


def without_lettering(image: Image, letterings: Iterable[Lettering]) -> Image:
    """The same image, blank where the letters stand."""
    frames = bytearray(image.frames)
    for each in letterings:
        frames[each.span.start : each.span.stop] = bytes(each.span.frames)
    return Image(bytes(frames), image.levels)
