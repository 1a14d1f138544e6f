"""What an image is: every orientation and format tried, ranked by evidence, the best decoded."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from server.tape.findings import Finding
from server.tape.formats import FORMATS
from server.tape.formats.base import Decoding, Evidence
from server.tape.formats.unrecognised import Unrecognised
from server.tape.image import Image, Orientation
from server.tape.view import View

DECODER_RELEASE = "1"
"""Stored with each decoding; raised whenever the same image would be decoded otherwise."""

CLAIM = 0.5
"""No format that is less sure than this is chosen; the image is called unrecognised instead."""

_NO_SIGN = Evidence(0.0, "nothing on the tape looks like it")


@dataclass(frozen=True, slots=True)
class Identified:
    """How sure one format is of an image, at its best orientation and number of levels."""

    format: str
    confidence: float
    reason: str
    orientation: Orientation
    levels: int


@dataclass(frozen=True, slots=True)
class Decoded:
    """An image and all that was made of it, in frames of the image as it was read.

    `leader_frames` and `trailer_frames` are those before and after the data in the order in
    which the tape was punched. `identified` holds one entry a format, the chosen one first.
    """

    image: Image
    orientation: Orientation
    leader_frames: int
    trailer_frames: int
    lettering: str | None
    decoding: Decoding
    identified: tuple[Identified, ...]


def identify(image: Image) -> tuple[Identified, ...]:
    """How sure each format is of `image`, best first; the rejected ones too."""
    return _ranked([image])


def decode(data: bytes, levels: int | None = None) -> Decoded:
    """The image that `data` is, decoded by the format that is surest of it.

    Raises:
        BadImage: the data cannot be the frames of a tape of so many levels.
    """
    images = _readings_of(data, levels)
    ranked = _ranked(images)
    chosen = ranked[0]
    image = next(image for image in images if image.levels == chosen.levels)
    view = View(image, chosen.orientation)
    decoding = FORMATS[chosen.format].parse(view)
    return Decoded(
        image=image,
        orientation=chosen.orientation,
        leader_frames=decoding.data.start,
        trailer_frames=len(image) - decoding.data.stop,
        lettering=None,
        decoding=_as_read(decoding, image, chosen.orientation),
        identified=ranked,
    )


def _readings_of(data: bytes, levels: int | None) -> list[Image]:
    """The image, once for each number of levels it may have; the likelier one first."""
    likelier = Image.of(data, levels)
    if levels is not None or likelier.levels == 8:
        return [likelier]
    return [likelier, Image(likelier.frames, 8)]


def _ranked(images: list[Image]) -> tuple[Identified, ...]:
    best: dict[str, Identified] = {}
    for candidate in _candidates(images):
        held = best.get(candidate.format)
        if held is None or candidate.confidence > held.confidence:
            best[candidate.format] = candidate
    return tuple(sorted(best.values(), key=_rank))


def _candidates(images: list[Image]) -> Iterator[Identified]:
    for image in images:
        for orientation in Orientation:
            view = View(image, orientation)
            for name, each in FORMATS.items():
                evidence = each.recognise(view) or _NO_SIGN
                confidence = round(evidence.confidence, 4)
                yield Identified(name, confidence, evidence.reason, orientation, image.levels)


def _rank(identified: Identified) -> tuple[bool, bool, float]:
    """Sure formats first, then the honest 'unrecognised', then those that are not sure enough."""
    unsure = identified.confidence < CLAIM
    unknown = identified.format == Unrecognised.name
    return unsure and not unknown, unknown, -identified.confidence


def _as_read(decoding: Decoding, image: Image, orientation: Orientation) -> Decoding:
    findings = sorted(
        (finding.as_read(image, orientation) for finding in decoding.findings), key=_place
    )
    return replace(
        decoding,
        data=image.span_as_read(decoding.data, orientation),
        listing=decoding.listing.as_read(image, orientation),
        findings=tuple(findings),
    )


def _place(finding: Finding) -> int:
    return finding.frame
