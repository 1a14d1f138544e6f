"""Values in words, the same on a page, on paper and at the command line."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from server.tape.anatomy import BOOTSTRAP
from server.tape.findings import MM_PER_INCH
from server.tape.formats import FORMATS


def metres(millimetres: float) -> str:
    """A length in the unit that reads best."""
    if millimetres < 1000:
        return f"{millimetres:,.2f} mm"
    return f"{millimetres / 1000:,.2f} m"


def feet(millimetres: float) -> str:
    """A length in inches, or feet where it is long."""
    inches = millimetres / MM_PER_INCH
    return f"{inches:,.1f} in" if inches < 36 else f"{inches / 12:,.1f} ft"


def duration(seconds: float) -> str:
    """A time as a person at the reader would say it."""
    if seconds < 60:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return f"{minutes} min {rest} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min"


def title_of(name: str) -> str:
    """What a format is called in full, with the first stage that must come before it."""
    if name.startswith(BOOTSTRAP):
        return f"First stage, then {title_of(name.removeprefix(BOOTSTRAP))}"
    return FORMATS[name].title if name in FORMATS else name


CHECK_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {"sound": "checks pass", "damaged": "damaged", "no-check": "carries no check"}
)

ORIENTATION_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "as-read": "read the right way round",
        "reversed": "read from its end; turned for the listing",
        "mirrored": "read upside down (channels mirrored); turned for the listing",
        "reversed-mirrored": "read from its end and upside down; turned for the listing",
    }
)
