"""Values in words: the filters and names that every template may use."""

from collections.abc import Callable, Mapping
from datetime import date, datetime
from types import MappingProxyType
from typing import Any, Final
from urllib.parse import urlencode

from server.catalog.byte_values import ByteHit, BytePlace
from server.catalog.defect_words import DEFECTS, DefectKind
from server.catalog.photos import AT_ONCE
from server.catalog.rights_values import STATEMENTS
from server.catalog.search_values import Hit
from server.catalog.vocabulary import (
    Access,
    Acquired,
    Action,
    Condition,
    DefectSeverity,
    Extent,
    Handling,
    Hazard,
    Method,
    Reason,
    TapeForm,
    Urgency,
)
from server.catalog.work import Role
from server.delivery.words import (
    CHECK_WORDS,
    ORIENTATION_WORDS,
    duration,
    feet,
    metres,
    title_of,
)
from server.tape.findings import MM_PER_INCH
from server.tape.formats.base import Loader
from server.tape.image import FRAME_PITCH_MM
from server.web.differences import row_anchor
from server.web.listed import page_of_line, visible

DIGITS: Final = 64
"""Digits of a whole SHA-256."""

FRAMES_A_ROW: Final = 16
"""Frames side by side where they are shown as numbers."""


def number(value: float) -> str:
    """A whole number with its thousands apart."""
    return f"{value:,.0f}"


def count(value: int, one: str, many: str | None = None) -> str:
    """How many of a thing: '1 line', '2 lines'."""
    return f"{value:,} {one if value == 1 else many or one + 's'}"


def hexadecimal(value: int, digits: int = 4) -> str:
    """An address as it is written in listings: 0100."""
    return f"{value:0{digits}X}"


def channels(frame: int, levels: int) -> str:
    """The channels that are punched in a frame: 'channels 1 2 5'; 'no hole' for a blank one."""
    punched = [str(at + 1) for at in range(levels) if frame >> at & 1]
    if not punched:
        return "no hole"
    return f"channel{'s' if len(punched) > 1 else ''} {' '.join(punched)}"


def position_mm(frame: int) -> str:
    """Where a frame lies from the start of the image, in millimetres."""
    return f"{frame * FRAME_PITCH_MM:,.2f} mm"


def position_inches(frame: int) -> str:
    """Where a frame lies from the start of the image, in inches."""
    return f"{frame * FRAME_PITCH_MM / MM_PER_INCH:,.1f} in"


def day(value: date | datetime | None) -> str:
    """A date, or nothing."""
    return "" if value is None else f"{value:%Y-%m-%d}"


def moment(value: datetime) -> str:
    """A date and time, in UTC."""
    return f"{value:%Y-%m-%d %H:%M} UTC"


def size(bytes_: int) -> str:
    """A number of bytes in the unit that reads best."""
    for unit, scale in (("MB", 1_000_000), ("kB", 1000)):
        if bytes_ >= scale:
            return f"{bytes_ / scale:.1f} {unit}".replace(".0 ", " ")
    return f"{bytes_} bytes"


def percent(share: float) -> str:
    """A share of 1 in percent, never rounded up to a full hundred."""
    return f"{min(share * 100, 99.9):.1f} %" if share < 1 else "100 %"


def short(sha256: str) -> str:
    """The first twelve digits of a digest, enough to tell images apart by eye."""
    return sha256[:12]


def entry_name(key: str) -> str:
    """What an entry of a queue goes by, digests cut short: 1978.12, or two images."""
    return " and ".join(short(part) if len(part) == DIGITS else part for part in key.split("-"))


NO_IMAGE = "no-image"
"""What the list of tapes calls the format of a tape that nothing was read from."""


def format_title(name: str | None) -> str:
    """What a format is called in full."""
    return "no image yet" if name is None or name == NO_IMAGE else title_of(name)


def field_name(name: str) -> str:
    """The name of a field as a person reads it; rows of a list are counted from 1."""
    parts = [str(int(part) + 1) if part.isdecimal() else part for part in name.split(".")]
    return " ".join(parts).replace("_", " ")


def tried(outcome: bool | None) -> str:
    """What came of trying: yes, no, or not tried."""
    return "not tried" if outcome is None else "yes" if outcome else "no"


def target(hit: Hit, run: str) -> str:
    """The address that a hit leads to: in a listing, the line itself."""
    if hit.sha256 and hit.line is not None:
        place = {"q": run, "page": page_of_line(hit.line)}
        return f"/images/{hit.sha256}/listing?{urlencode(place)}#L{hit.line}"
    if hit.sha256:
        return f"/images/{hit.sha256}"
    if hit.kind == "program":
        return f"/programs/{hit.program}"
    return f"/tapes/{hit.accession}"


def byte_target(place: BytePlace, hit: ByteHit, where: str) -> str:
    """The address that found bytes lead to: the frames, or the line of what is loaded there."""
    if where == "memory" and place.line is not None:
        return f"/images/{hit.sha256}/listing?page={page_of_line(place.line)}#L{place.line}"
    if where == "memory":
        return f"/images/{hit.sha256}"
    row = place.at - place.at % FRAMES_A_ROW
    marked = {"at": place.at, "length": len(place.found)}
    return f"/images/{hit.sha256}/frames?{urlencode(marked)}#F{row}"


FACET_LABELS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "format": "Format",
        "check_status": "Its own checks",
        "verification": "Verification",
        "language": "Language",
        "machine": "Machine",
        "loader": "Needs in the machine",
        "medium": "Medium",
        "condition": "Condition",
        "place": "Place",
        "year": "Made in",
        "contributor": "Entered or read by",
    }
)
"""What the facets are called."""

FILTERS: Final[dict[str, Callable[..., Any]]] = {
    "number": number,
    "count": count,
    "hexadecimal": hexadecimal,
    "channels": channels,
    "metres": metres,
    "feet": feet,
    "field_name": field_name,
    "position_mm": position_mm,
    "position_inches": position_inches,
    "duration": duration,
    "day": day,
    "moment": moment,
    "size": size,
    "percent": percent,
    "short": short,
    "entry_name": entry_name,
    "format_title": format_title,
    "tried": tried,
    "visible": visible,
    "target": target,
    "byte_target": byte_target,
    "row_anchor": row_anchor,
    "page_of_line": page_of_line,
}

ACCESS_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        Access.PUBLIC: "everybody",
        Access.MEMBERS: "members: people who are signed in",
        Access.RESTRICTED: "restricted: archivists only",
    }
)
"""Who may see a record, in a few words."""

GLOBALS: Final[dict[str, Any]] = {
    "ACCESS_WORDS": ACCESS_WORDS,
    "ACQUIRED": tuple(each for each in Acquired if each),
    "TAPE_FORMS": tuple(each for each in TapeForm if each),
    "STATEMENTS": STATEMENTS,
    "CHECK_WORDS": CHECK_WORDS,
    "ORIENTATION_WORDS": ORIENTATION_WORDS,
    "CONDITIONS": tuple(Condition),
    "FACET_LABELS": FACET_LABELS,
    "ACTIONS": tuple(Action),
    "DEFECT_KINDS": tuple(DefectKind),
    "DEFECT_WORDS": DEFECTS,
    "EXTENTS": tuple(Extent),
    "HANDLINGS": tuple(Handling),
    "SEVERITIES": tuple(DefectSeverity),
    "URGENCIES": tuple(Urgency),
    "HAZARDS": tuple(Hazard),
    "LOADERS": tuple(Loader),
    "METHODS": tuple(Method),
    "PHOTOS_AT_ONCE": AT_ONCE,
    "REASONS": tuple(Reason),
    "ROLES": tuple(role for role in Role if role is not Role.VISITOR),
}
