"""What an image is: every orientation and format tried, ranked by evidence, the best decoded."""

from dataclasses import dataclass, replace
from operator import attrgetter

from server.tape.anatomy import anatomy, drawn_together
from server.tape.damage import damage_findings
from server.tape.formats import FORMATS, Formats
from server.tape.formats.base import Decoding
from server.tape.image import Image, Orientation
from server.tape.lettering import find_lettering, lettering_findings, without_lettering
from server.tape.parts import Part, decoding_as_read
from server.tape.ranking import CLAIM, Identified, rank
from server.tape.view import View

__all__ = ["CLAIM", "DECODER_RELEASE", "Decoded", "Identified", "decode", "identify"]

DECODER_RELEASE = "2"
"""Stored with each decoding; raised whenever the same image would be decoded otherwise."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """An image and all that was made of it, in frames of the image as it was read.

    `parts` stand in the order in which they were punched; `decoding` draws those that carry
    content into one. `leader_frames` and `trailer_frames` are those before and after that
    content. `identified` holds one entry a format, the chosen one first.
    """

    image: Image
    orientation: Orientation
    leader_frames: int
    trailer_frames: int
    lettering: str | None
    decoding: Decoding
    parts: tuple[Part, ...]
    identified: tuple[Identified, ...]


def identify(image: Image) -> tuple[Identified, ...]:
    """How sure each format is of `image`, best first; the rejected ones too."""
    return rank(View(image, orientation) for orientation in Orientation)


def decode(data: bytes, levels: int | None = None, formats: Formats = FORMATS) -> Decoded:
    """The image that `data` is, decoded by that one of `formats` that is surest of it.

    Raises:
        BadImage: the data cannot be the frames of a tape of so many levels.
    """
    likelier = Image.of(data, levels)
    letterings = find_lettering(likelier)
    # A format meets blank leader where letters are punched, so it need not know of them.
    bare = without_lettering(likelier, letterings)
    candidates = [bare] if levels is not None else _at_each_level(bare)
    views = (View(image, way) for image in candidates for way in Orientation)
    ranked = rank(views, formats)
    chosen = ranked[0]
    view = View(Image(bare.frames, chosen.levels), chosen.orientation)
    surest = formats[chosen.format].parse(view)
    parts = anatomy(view, surest, letterings, formats)
    decoding = drawn_together(parts, surest)
    decoding = replace(decoding, findings=(*decoding.findings, *damage_findings(view, parts)))
    image = Image(likelier.frames, chosen.levels)
    as_read = decoding_as_read(decoding, image, chosen.orientation)
    findings = (*as_read.findings, *lettering_findings(letterings))
    return Decoded(
        image=image,
        orientation=chosen.orientation,
        leader_frames=decoding.data.start,
        trailer_frames=len(image) - decoding.data.stop,
        lettering=" ".join(part.text for part in parts if part.text) or None,
        decoding=replace(as_read, findings=tuple(sorted(findings, key=attrgetter("frame")))),
        parts=tuple(part.as_read(image, chosen.orientation) for part in parts),
        identified=ranked,
    )


def _at_each_level(likelier: Image) -> list[Image]:
    """The image, once for each number of levels it may have; the likelier one first."""
    return [likelier] if likelier.levels == 8 else [likelier, Image(likelier.frames, 8)]
