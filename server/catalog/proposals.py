"""What a tape's own image says of the tape, to fill a form with; a person decides."""

import re
from ast import literal_eval
from dataclasses import dataclass

from server.catalog.records import ImageRecord
from server.catalog.vocabulary import WIDTH_MM, Condition, Medium
from server.tape.findings import CheckStatus
from server.tape.formats.base import Loader
from server.tape.listing import Listing

_LINES_LOOKED_AT = 12
_LONGEST_TITLE = 80

_REMARK = re.compile(r"^\s*\d{1,5}\s*REM\b[\s*\-=:.]*(.*?)[\s*\-=:.]*$", re.IGNORECASE)
_HEADER = re.compile(r"the header reads ('.*'|\".*\")$")
_ENDING = re.compile(r"\.[0-9A-Za-z]{1,5}$")
_BY = re.compile(r"\b(?:BY|FROM|WRITTEN BY)\b[:\s]+(.+)$", re.IGNORECASE)

_LOADERS = {
    Loader.NONE: "nothing: the machine reads it by itself",
    Loader.KEYED_BOOTSTRAP: "a bootstrap keyed in at the panel",
    Loader.ROM_MONITOR: "a monitor in ROM",
    Loader.CHECKSUM_LOADER: "a loader that checks checksums",
    Loader.LANGUAGE_INTERPRETER: "a language interpreter",
}


@dataclass(frozen=True, slots=True)
class Proposal:
    """Values for the fields of a new tape; `medium_sentence` says the medium and why."""

    title: str
    origin: str
    medium: Medium
    medium_sentence: str
    levels: int
    condition: Condition
    condition_sentence: str
    loader_requirement: str


def propose(image: ImageRecord, listing: Listing, file_name: str = "") -> Proposal:
    """What the decoding of `image` lets one suppose of the tape that it was read from."""
    remarks = _remarks(listing)
    return Proposal(
        title=_title(image, remarks, file_name),
        origin=_origin(remarks),
        medium=Medium.PAPER,
        medium_sentence=_medium(image.levels),
        levels=image.levels,
        condition=Condition.NOT_EXAMINED,
        condition_sentence=_condition(image),
        loader_requirement=_loader(image),
    )


def _title(image: ImageRecord, remarks: list[str], file_name: str) -> str:
    named = (*remarks[:1], _header(image), image.lettering or "", _from_file(file_name))
    best = next((title for title in named if title), image.title)
    return best[:_LONGEST_TITLE].strip()


def _remarks(listing: Listing) -> list[str]:
    """What the remarks at the head of a BASIC program say, without their ornaments."""
    found = (_REMARK.match(line.text) for line in listing.lines[:_LINES_LOOKED_AT])
    return [match[1] for match in found if match and any(map(str.isalpha, match[1]))]


def _header(image: ImageRecord) -> str:
    """What the header record of a tape reads, where it has one."""
    found = (_HEADER.search(finding.message) for finding in image.findings)
    quoted = next((match[1] for match in found if match), "''")
    text = str(literal_eval(quoted))
    return "".join(each for each in text if each.isprintable()).strip()


def _from_file(file_name: str) -> str:
    return re.sub(r"[_\s]+", " ", _ENDING.sub("", file_name)).strip()


def _origin(remarks: list[str]) -> str:
    found = (_BY.search(remark) for remark in remarks)
    return next((match[1].strip() for match in found if match), "")


def _medium(levels: int) -> str:
    width = WIDTH_MM[levels]
    return f"Paper tape of {levels} levels is {width:.2f} mm wide; say so if it is another stuff."


def _condition(image: ImageRecord) -> str:
    damages = sum(finding.severity == "damage" for finding in image.findings)
    if image.check_status is not CheckStatus.DAMAGED:
        return "Nothing in the image points at damage; look at the tape itself."
    places = "one place" if damages == 1 else f"{damages} places"
    return f"The image is damaged in {places}: look at the tape there."


def _loader(image: ImageRecord) -> str:
    """The loader requirement in words, with what is loaded and where it starts."""
    needs = _LOADERS.get(Loader(image.loader), "")
    if image.language and image.loader == Loader.LANGUAGE_INTERPRETER:
        needs = f"a {image.language.upper()} interpreter"
    if image.dialect:
        needs = f"{needs} ({image.dialect})".strip()
    write = image.writing.address
    ranges = ", ".join(f"{write(each.start)}-{write(each.end)}" for each in image.load_ranges[:3])
    more = " and more" if len(image.load_ranges) > 3 else ""
    start = "" if image.entry_address is None else f"starts at {write(image.entry_address)}"
    loads = f"loads {ranges}{more}" if ranges else ""
    return "; ".join(part for part in (needs, loads, start) if part)[:200]
