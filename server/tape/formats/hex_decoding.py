"""The way from a view to a decoding that the hexadecimal formats share."""

from dataclasses import replace
from itertools import starmap
from typing import ClassVar, NamedTuple, Protocol

import numpy as np

from server.tape.codes.base import Characters
from server.tape.dump import WIDTH, Cells, Integers, cell_lines
from server.tape.findings import CheckStatus, Finding, check_status
from server.tape.formats.base import Decoding, Loader, LoadRange
from server.tape.hexadecimal.end_findings import end_findings
from server.tape.hexadecimal.failures import Failing, Failure, kept
from server.tape.hexadecimal.outside import outside
from server.tape.hexadecimal.places import Places, bounded_by_kind
from server.tape.hexadecimal.reading import Placed, Reading
from server.tape.hexadecimal.records import Grammar, Records, joined, scan
from server.tape.image import Span
from server.tape.listing import MOST_LINES, Line, Listing
from server.tape.load_findings import memory_findings
from server.tape.loading import Memory, assemble, loaded_runs
from server.tape.parity_findings import parity_findings
from server.tape.unlisted import lines_unlisted
from server.tape.view import View

_SKIPPED = bytes(range(0x21)) + b"\x7f"
_LINE_END = b"\r\n"
_LONGEST_LINE_END = 3
_LONGEST_FILL = 64
_AFTER_END = "  after the end record"


class Layout(Protocol):
    """A hexadecimal format, as `decode` needs it."""

    name: ClassVar[str]
    grammar: ClassVar[Grammar]

    def read(self, placed: Placed) -> Reading:
        """The meaning of the records, sound or not."""
        ...


class Found(NamedTuple):
    """All that looks like a record, bounded by characters `starts` and `stops`, in tape order.

    `placed` holds those of which the bytes are kept; `findings` is about the others.
    """

    placed: Placed
    starts: Integers
    stops: Integers
    findings: list[Finding]


def find_records(characters: Characters, layout: Layout) -> Found:
    """The records among `characters`, mended where they fail."""
    places, text = Places(characters), characters.text
    found = scan(text, layout.grammar)
    failing = Failing(text, found, layout.grammar, places)
    failures = failing.failures()
    extents = _extents(found.records, failures)
    rest = outside(text[: failing.looked_into], *extents, layout.grammar, places)
    failures = sorted([*failures, *rest.failures], key=lambda failure: failure.start)
    records = joined(found.records, kept(failures))
    return Found(
        _placed(records, places),
        *_extents(records, [failure for failure in failures if not failure.data]),
        [*(failure.finding for failure in failures), *failing.unread(), *rest.notes],
    )


def decode(view: View, layout: Layout) -> Decoding:
    """All that `layout` makes of `view`."""
    characters = view.characters("iso-646")
    placed, starts, stops, findings = find_records(characters, layout)
    if not starts.size:
        return _without_records(view, layout, characters)
    span = _data_span(characters, int(starts[0]), int(stops.max()), layout.grammar.closing)
    reading = layout.read(placed)
    memory, lines, unlisted = _load(reading)
    told = [
        *bounded_by_kind([*findings, *reading.findings]),
        *_parity(view, characters, span),
        *memory_findings(memory, reading.loads),
        *unlisted,
        *end_findings(reading, placed, (int(starts[-1]), int(stops[-1]))),
    ]
    return Decoding(
        format=layout.name,
        data=span,
        listing=Listing(lines),
        check_status=check_status(told, carries_check=True),
        content=_content(characters.text, starts, stops),
        findings=tuple(sorted(told, key=lambda finding: finding.frame)),
        code=characters.code,
        parity=characters.parity,
        dialect=reading.dialect,
        language="machine code",
        loader=Loader.ROM_MONITOR,
        load_ranges=tuple(starmap(LoadRange, memory.spans)),
        entry_address=reading.entry_address,
        memory=memory.ranges,
        blocks=loaded_runs(reading.loads),
    )


def _extents(records: Records, failures: list[Failure]) -> tuple[Integers, Integers]:
    """Where each record and failure begins and ends in the text, in its order."""
    if not failures:
        return records.starts, records.stops
    starts = np.concatenate([records.starts, [each.start for each in failures]])
    stops = np.concatenate([records.stops, [each.stop for each in failures]])
    order = np.argsort(starts, kind="stable")
    return starts[order], stops[order]


def _placed(records: Records, places: Places) -> Placed:
    frames = places.characters.frames
    starts = frames[records.starts].astype(np.int64)
    return Placed(records, starts, frames[records.stops - 1].astype(np.int64) + 1, places)


def _data_span(characters: Characters, start: int, stop: int, closing: bytes) -> Span:
    """The frames of the records, with the line end of the last, whole or damaged.

    A character of `closing` belongs to them too, after fill of some length.
    """
    text, frames = characters.text, characters.frames
    places = Places(characters)
    for at in range(stop, min(stop + _LONGEST_LINE_END, len(text))):
        belongs = text[at] in _LINE_END or places.parity_errors(at, at + 1)
        if not belongs or frames[at] != frames[at - 1] + 1:
            break
        stop = at + 1
    near = stop < len(text) and frames[stop] - frames[stop - 1] <= _LONGEST_FILL
    if near and text[stop] in closing:
        stop += 1
    return Span(int(frames[start]), int(frames[stop - 1]) + 1)


def _content(text: bytes, starts: Integers, stops: Integers) -> bytes:
    """The characters of the records alone, in upper case."""
    bare = text.translate(None, _SKIPPED)
    if len(bare) == int((stops - starts).sum()):
        return bare.upper()
    inside = np.zeros(len(text) + 1, np.int8)
    inside[starts] += 1
    inside[stops] -= 1
    kept_characters = np.frombuffer(text, np.uint8)[np.cumsum(inside[:-1], dtype=np.int8) > 0]
    return kept_characters.tobytes().translate(None, _SKIPPED).upper()


def _load(reading: Reading) -> tuple[Memory, tuple[Line, ...], list[Finding]]:
    """The memory that a loader fills, the dump of it and of what follows its end.

    And what is said where lines of the dump are too many to be listed.
    """
    if reading.end is None:
        memory = assemble(reading.loads)
        lines = cell_lines(memory.cells, most=MOST_LINES)
        return memory, lines, _unlisted(memory.cells, lines)
    memory = assemble(reading.loads.only(reading.loads.records < reading.end))
    after = assemble(reading.loads.only(reading.loads.records > reading.end))
    lines, behind = (cell_lines(each.cells, most=MOST_LINES) for each in (memory, after))
    more = (line._replace(text=line.text + _AFTER_END) for line in behind)
    return (
        memory,
        (*lines, *more),
        [*_unlisted(memory.cells, lines), *_unlisted(after.cells, behind)],
    )


def _unlisted(cells: Cells, lines: tuple[Line, ...]) -> list[Finding]:
    """What is said of the cells beyond the last line, where lines are as many as there may be."""
    if len(lines) < MOST_LINES:
        return []
    beyond = cells.sources[cells.addresses.searchsorted((lines[-1].key or 0) + WIDTH) :]
    if not beyond.size:
        return []
    start, stop = int(cells.starts[beyond].min()), int(cells.stops[beyond].max())
    advice = "no machine has so much memory in so many places: check the addresses"
    return [lines_unlisted(start, stop, "what lies beyond is loaded all the same", advice)]


def _parity(view: View, characters: Characters, span: Span) -> list[Finding]:
    """Parity errors among the records: lettering in the leader obeys no parity."""
    errors = characters.parity_errors
    inside = errors[slice(*errors.searchsorted(span))]
    return parity_findings(replace(characters, parity_errors=inside), view.array)


def _without_records(view: View, layout: Layout, characters: Characters) -> Decoding:
    return Decoding(
        format=layout.name,
        data=view.data,
        listing=Listing(),
        check_status=CheckStatus.NO_CHECK,
        content=b"",
        code=characters.code,
        parity=characters.parity,
    )
