"""The texts of a load sheet as they are made of a decoding, before anybody has written one."""

from server.catalog.load_practice import practice_for
from server.catalog.records import ImageRecord
from server.tape.anatomy import BOOTSTRAP
from server.tape.formats import FORMATS
from server.tape.formats.base import LoadRange
from server.tape.machine_notation import Writing

_RANGES_NAMED = 2
"""More addresses than these are read from the sheet above, not out of a sentence."""


def made_of(image: ImageRecord, writing: Writing) -> dict[str, str]:
    """Every text of a sheet: what is usual for such a tape, with this one's own addresses."""
    usual = practice_for(image.loader, image.format)
    start = usual.start if image.entry_address is not None else usual.start_unknown
    known = {
        "format": _format_title(image.format),
        "ranges": _ranges(image.load_ranges, writing),
        "entry": "" if image.entry_address is None else writing.address(image.entry_address),
        "dialect": image.dialect or "not known which",
    }
    return {
        "needs": usual.needs.format_map(known),
        "steps": "\n".join((*usual.steps, *filter(None, [start]))).format_map(known),
        "bootstrap": "",
        "reader": "",
        "worked": usual.worked.format_map(known),
        "cautions": "",
    }


def _format_title(name: str) -> str:
    bare = name.removeprefix(BOOTSTRAP)
    return FORMATS[bare].title if bare in FORMATS else bare


def _ranges(ranges: tuple[LoadRange, ...], writing: Writing) -> str:
    if not ranges:
        return "the program"
    named = [writing.span(each.start, each.end) for each in ranges[:_RANGES_NAMED]]
    return " and ".join(named) if len(ranges) == len(named) else "each range loaded"
