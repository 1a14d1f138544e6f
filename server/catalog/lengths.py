"""Lengths along a tape as people write them, in millimetres."""

import re
from typing import Final

from server.tape.findings import MM_PER_INCH
from server.tape.image import FRAME_PITCH_MM

_UNITS: Final = {
    "": 1.0,
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
}
_NUMBER: Final = r"([0-9]+(?:[.,][0-9]+)?)"
_PLAIN: Final = re.compile(rf"{_NUMBER}\s*(mm|cm|m|in|ft)?", re.IGNORECASE)
_FRAME: Final = re.compile(r"frame\s*([0-9]+)", re.IGNORECASE)
_FEET: Final = re.compile(rf"{_NUMBER}\s*ft\s*{_NUMBER}\s*in", re.IGNORECASE)
_THOUSANDS: Final = re.compile(r"[0-9],[0-9]{3}(?![0-9])")

HOW: Final = "write a length as 3.41 m, 341 cm, 3410 mm, 134 in, 11 ft 2 in, or frame 1342"


def millimetres(value: object) -> object:
    """A length that was written as text, in millimetres; what is no text as it is.

    A number alone is in millimetres. A comma before the decimals is read as a point, but not
    before three digits, where it may part thousands.

    Raises:
        ValueError: it is no length.
    """
    if not isinstance(value, str):
        return value
    text = value.strip()
    if _THOUSANDS.search(text):
        raise ValueError(HOW)
    if frame := _FRAME.fullmatch(text):
        return float(frame[1]) * FRAME_PITCH_MM
    if feet := _FEET.fullmatch(text):
        return _number(feet[1]) * _UNITS["ft"] + _number(feet[2]) * _UNITS["in"]
    if plain := _PLAIN.fullmatch(text):
        return _number(plain[1]) * _UNITS[(plain[2] or "").lower()]
    raise ValueError(HOW)


def _number(text: str) -> float:
    return float(text.replace(",", "."))
