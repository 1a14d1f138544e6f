"""How sure each format is of an image, whichever way it lay in the reader."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from server.tape.formats import FORMATS, Formats
from server.tape.formats.base import Evidence
from server.tape.formats.unrecognised import Unrecognised
from server.tape.image import Orientation
from server.tape.view import View

CLAIM: Final = 0.5
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


def rank(views: Iterable[View], formats: Formats = FORMATS) -> tuple[Identified, ...]:
    """One entry a format, from the view it is surest of; best first, the rejected ones too."""
    best: dict[str, Identified] = {}
    for view in views:
        for name, each in formats.items():
            evidence = each.recognise(view) or _NO_SIGN
            confidence = round(evidence.confidence, 4)
            held = best.get(name)
            if held is None or confidence > held.confidence:
                best[name] = Identified(
                    name, confidence, evidence.reason, view.orientation, view.image.levels
                )
    return tuple(sorted(best.values(), key=_order))


def _order(identified: Identified) -> tuple[bool, bool, float]:
    """Sure formats first, then the honest 'unrecognised', then those that are not sure enough."""
    unsure = identified.confidence < CLAIM
    unknown = identified.format == Unrecognised.name
    return unsure and not unknown, unknown, -identified.confidence
