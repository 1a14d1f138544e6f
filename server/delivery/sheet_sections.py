"""A load sheet as it is read, section by section: the same on the page, on paper, as plain text."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from server.catalog.key_in import Cell
from server.catalog.load_practice import (
    NC_CAUTION,
    OF_CONDITION,
    OF_MEDIUM,
    SOURCE,
    STANDING,
)
from server.catalog.load_sheet_values import Copy, SheetRecord
from server.catalog.records import ImageRecord
from server.delivery.words import (
    CHECK_WORDS,
    ORIENTATION_WORDS,
    duration,
    feet,
    metres,
    title_of,
)
from server.tape.dimensions import TAPE_WIDTH_MM
from server.tape.estimate import RATES, length_mm, seconds
from server.tape.findings import CheckStatus
from server.tape.image import Orientation, Span
from server.tape.parts import PartKind, PartSummary

RANGES_SHOWN: Final = 4

_REEL = re.compile(r"\b(\d{1,3})\s*(?:OF|/)\s*(\d{1,3})\b", re.IGNORECASE)
"""What lettering says of a tape that is one of several: 1 OF 3, or 1/3."""


class Look(StrEnum):
    """How a section is set."""

    LINES = "lines"
    STEPS = "steps"
    CELLS = "cells"
    CAUTIONS = "cautions"


@dataclass(frozen=True, slots=True)
class Section:
    """One section: its heading and its lines; `cells` where something is keyed in."""

    heading: str
    lines: tuple[str, ...]
    look: Look = Look.LINES
    cells: tuple[Cell, ...] = ()


def sections(sheet: SheetRecord) -> tuple[Section, ...]:
    """All of the sheet, in the order in which it is needed."""
    image = sheet.image
    told = (
        Section("From the shelf", tuple(_copies(sheet))),
        Section("Trust", (_trust(image),)),
        Section("First in the machine", sheet.lines("needs")),
        Section("Addresses", tuple(_addresses(sheet))),
        Section("Tape and reader", (*_told_of_tape(sheet), *sheet.lines("reader"))),
        _bootstrap(sheet),
        Section("At the machine", sheet.lines("steps"), Look.STEPS),
        Section("It worked when", sheet.lines("worked")),
        Section("Cautions", tuple(_cautions(sheet)), Look.CAUTIONS),
    )
    return tuple(each for each in told if each.lines or each.cells)


def imprint(sheet: SheetRecord) -> str:
    """Who wrote the sheet, and what of it nobody did."""
    names = {"needs": "what comes first", "steps": "steps", "worked": "what should appear"}
    usual = [words for name, words in names.items() if name not in sheet.written]
    whose = f"Sheet, revision {sheet.revision}"
    if sheet.changed:
        whose += f", {sheet.by}, {sheet.changed:%Y-%m-%d}"
    return f"{whose}. {', '.join(usual).capitalize()}: {SOURCE}." if usual else f"{whose}."


def _copies(sheet: SheetRecord) -> Iterator[str]:
    for copy in sheet.copies:
        if copy.quarantined:
            yield f"{copy.accession_number}: DO NOT HANDLE, {copy.hazard}"
        else:
            looked = f", report of {copy.reported}" if copy.reported else ""
            place = copy.place or "place not known"
            whose = "" if copy.begins is None else "; punched here and read back"
            barred = "DO NOT RUN; " if copy.do_not_run else ""
            yield f"{copy.accession_number}: {barred}{place}; {copy.condition}{looked}{whose}"
    if sheet.more_copies:
        yield f"and {sheet.more_copies} more in the list of tapes"
    if not sheet.copies:
        yield "No tape with this content is described: punch one from the master image."


def _trust(image: ImageRecord) -> str:
    check = CHECK_WORDS[image.check_status]
    return f"Master image {image.sha256[:12]}: {check}; {image.verification.word}"


def _addresses(sheet: SheetRecord) -> Iterator[str]:
    image, writing = sheet.image, sheet.writing
    ranges = [writing.span_in_full(each.start, each.end) for each in image.load_ranges]
    if ranges:
        more = len(ranges) - RANGES_SHOWN
        rest = f" and {more} more" if more > 0 else ""
        yield f"Loads {', '.join(ranges[:RANGES_SHOWN])}{rest}"
        yield f"In {writing.title}; both ends are loaded"
    if image.entry_address is not None:
        yield f"Starts at {writing.address_in_full(image.entry_address)}"


def _told_of_tape(sheet: SheetRecord) -> Iterator[str]:
    yield from _reader(sheet.image)
    # Tapes that were punched here have leaders of their own.
    alike: dict[tuple[int, str], list[str]] = {}
    for copy in sheet.copies:
        if copy.begins is not None and not copy.quarantined:
            alike.setdefault((copy.begins, copy.letters), []).append(copy.accession_number)
    for (begins, letters), numbers in alike.items():
        behind = f", behind the letters “{letters}”" if letters else ""
        yield f"On tape {', '.join(numbers)} it begins {_place(begins)}{behind}"


def _reader(image: ImageRecord) -> Iterator[str]:
    length = length_mm(image.bytes)
    yield (
        f"{title_of(image.format)}: {image.levels} levels, {TAPE_WIDTH_MM[image.levels]:.2f} mm"
        f" wide, {image.bytes:,} frames, {metres(length)} ({feet(length)})"
    )
    times = (f"{duration(seconds(image.bytes, rate))} at {rate}" for rate in RATES)
    yield f"Takes {', '.join(times)} frames a second (rates: {SOURCE})"
    code = image.code or "no character code, every channel counts"
    yield f"Code: {code}; parity: {image.parity or 'none'}"
    yield from _placing(image)


def _placing(image: ImageRecord) -> Iterator[str]:
    """Where the content begins on a tape that is fed the right way, and what stands before it."""
    start = _fed(image, image.data).start
    yield f"Content of the master image begins {_place(start)} from the first frame"
    letters = [each for each in image.parts if each.kind is PartKind.LETTERING]
    before = [each for each in letters if _fed(image, _span(each)).start < start]
    if before:
        last = max(before, key=lambda each: _fed(image, _span(each)).stop)
        end = _fed(image, _span(last)).stop
        yield f"Lettering “{last.text}” ends {_place(end)}: lay the blank leader behind it"
    reel = next((found for each in letters if (found := _REEL.search(each.text or ""))), None)
    if reel:
        yield f"This is part {reel[1]} of {reel[2]}: have all of them at hand"
    programs = sum(each.kind is PartKind.PROGRAM for each in image.parts)
    if programs > 1:
        yield f"{programs} programs stand one behind the other on this tape"
    if image.orientation is not Orientation.AS_READ:
        yield f"The image was {ORIENTATION_WORDS[image.orientation]}"


def _span(part: PartSummary) -> Span:
    return Span(part.frame, part.frame + part.frames)


def _fed(image: ImageRecord, span: Span) -> Span:
    """The span on a tape that goes into the reader by the end that was punched first."""
    if not image.orientation.runs_backwards:
        return span
    return Span(image.bytes - span.stop, image.bytes - span.start)


def _place(frame: int) -> str:
    length = length_mm(frame)
    return f"at frame {frame:,}, {metres(length)} ({feet(length)})"


def _bootstrap(sheet: SheetRecord) -> Section:
    lines: tuple[str, ...] = ()
    if sheet.cells is None:
        lines = ("Written in another notation than this sheet has now:", *sheet.lines("bootstrap"))
    elif not sheet.cells and sheet.keyed_in:
        lines = ("No bootstrap is recorded here: see the machine's own manual.",)
    return Section("Key in", lines, Look.CELLS, sheet.cells or ())


def _cautions(sheet: SheetRecord) -> Iterator[str]:
    yield from _of_copies(sheet.copies)
    if sheet.image.check_status is CheckStatus.DAMAGED:
        yield "The master image is damaged: look at its findings before you rely on the program."
    elif not sheet.image.verification.verified:
        yield "Nothing vouches for the master image yet: it may hold errors."
    if sheet.image.format == "nc-program":
        yield NC_CAUTION
    yield from sheet.lines("cautions")
    yield from STANDING


def _of_copies(copies: tuple[Copy, ...]) -> Iterator[str]:
    for copy in copies:
        if copy.quarantined:
            number, hazard = copy.accession_number, copy.hazard
            yield f"Tape {number}: {hazard}. Leave it closed, and ask a conservator."
            continue
        if copy.do_not_run:
            yield (
                f"Tape {copy.accession_number}: do not run it without an archivist's word. "
                "Punch a new one from the image."
            )
        known = OF_CONDITION.get(copy.condition, "")
        told = ". ".join(part for part in (known, copy.advice) if part)
        if told:
            yield f"Tape {copy.accession_number}: {told}"
    media = dict.fromkeys(copy.medium for copy in copies if copy.medium in OF_MEDIUM)
    yield from (OF_MEDIUM[medium] for medium in media)
