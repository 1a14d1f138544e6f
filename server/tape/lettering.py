"""Letters punched as pictures, readable by eye, in the leader or trailer of a tape."""

from collections.abc import Iterable
from typing import NamedTuple

from server.tape.image import Image, Span


class Lettering(NamedTuple):
    """A text punched as a picture: where it stands, what it says, how sure (0 to 1)."""

    span: Span
    text: str
    confidence: float


def find_lettering(image: Image) -> tuple[Lettering, ...]:
    """The lettering at both ends of `image`, in its order."""
    return ()


def without_lettering(image: Image, letterings: Iterable[Lettering]) -> Image:
    """The same image, blank where the letters stand."""
    frames = bytearray(image.frames)
    for each in letterings:
        frames[each.span.start : each.span.stop] = bytes(each.span.frames)
    return Image(bytes(frames), image.levels)
