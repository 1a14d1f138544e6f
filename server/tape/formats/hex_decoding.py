"""The way from a view to a decoding that both hexadecimal formats share."""

from dataclasses import dataclass, replace
from typing import ClassVar, NamedTuple, Protocol

import numpy as np

from server.tape.codes.base import Characters
from server.tape.dump import cell_lines
from server.tape.findings import CheckStatus, Finding, Severity, check_status
from server.tape.formats.base import Decoding, Loader, LoadRange
from server.tape.hexadecimal.failures import Failing, Failure, kept
from server.tape.hexadecimal.memory import Loads, Memory, assemble
from server.tape.hexadecimal.outside import outside
from server.tape.hexadecimal.places import Places, bounded, bounded_by_kind
from server.tape.hexadecimal.records import Grammar, Integers, Records, joined, scan
from server.tape.image import Span
from server.tape.listing import Line, Listing
from server.tape.parity_findings import parity_findings
from server.tape.view import View

_SKIPPED = bytes(range(0x21)) + b"\x7f"
_LINE_END = b"\r\n"
_AFTER_END = "  after the end record"


class Placed(NamedTuple):
    """Records and the frames of each: the first, and the one after the last."""

    records: Records
    starts: Integers
    stops: Integers
    places: Places

    def finding(
        self, record: int, kind: str, severity: Severity, message: str, advice: str
    ) -> Finding:
        """A finding about one record."""
        span = int(self.records.starts[record]), int(self.records.stops[record])
        return self.places.finding(*span, kind, severity, message, advice)


@dataclass(frozen=True, slots=True)
class Reading:
    """What a format makes of its records: `end` is the record that ends the program."""

    dialect: str
    loads: Loads
    end: int | None
    entry_address: int | None
    findings: list[Finding]


class Layout(Protocol):
    """A hexadecimal format, as `decode` needs it."""

    name: ClassVar[str]
    grammar: ClassVar[Grammar]

    def read(self, placed: Placed) -> Reading:
        """The meaning of the records, sound or not."""
        ...


def decode(view: View, layout: Layout) -> Decoding:
    """All that `layout` makes of `view`."""
    characters = view.characters("iso-646")
    places, text = Places(characters), characters.text
    found = scan(text, layout.grammar)
    failing = Failing(text, found, layout.grammar, places)
    failures = failing.failures()
    rest = outside(text, *_extents(found.records, failures), layout.grammar, places)
    failures = sorted([*failures, *rest.failures])
    records = joined(found.records, kept(failures))
    if not len(records) and not failures:
        return _without_records(view, layout, characters)
    starts, stops = _extents(records, [each for each in failures if not each.data])
    span = _data_span(characters, int(starts[0]), int(stops.max()))
    placed = _placed(records, places)
    reading = layout.read(placed)
    memory, lines = _load(reading)
    findings = [
        *(failure.finding for failure in failures),
        *failing.unread(),
        *rest.notes,
        *reading.findings,
    ]
    told = [
        *bounded_by_kind(findings),
        *_parity(characters, span),
        *_memory_findings(memory, placed, reading),
        *_end_findings(reading, placed, int(starts[-1]), int(stops[-1])),
    ]
    return Decoding(
        format=layout.name,
        data=span,
        listing=Listing(lines),
        check_status=check_status(told, carries_check=True),
        content=_content(text, starts, stops),
        findings=tuple(sorted(told, key=lambda finding: finding.frame)),
        code=characters.code,
        parity=characters.parity,
        dialect=reading.dialect,
        language="machine code",
        loader=Loader.ROM_MONITOR,
        load_ranges=tuple(_load_range(*each) for each in memory.ranges.items()),
        entry_address=reading.entry_address,
        memory=memory.ranges,
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


def _data_span(characters: Characters, start: int, stop: int) -> Span:
    """The frames of the records, with the line end of the last."""
    text, frames = characters.text, characters.frames
    while stop < len(text) and text[stop] in _LINE_END and frames[stop] == frames[stop - 1] + 1:
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


def _load(reading: Reading) -> tuple[Memory, tuple[Line, ...]]:
    """The memory that a loader fills, and the dump of it and of what follows its end."""
    if reading.end is None:
        memory = assemble(reading.loads)
        return memory, cell_lines(memory.cells)
    memory = assemble(reading.loads.only(reading.loads.records < reading.end))
    after = assemble(reading.loads.only(reading.loads.records > reading.end))
    more = (line._replace(text=line.text + _AFTER_END) for line in cell_lines(after.cells))
    return memory, (*cell_lines(memory.cells), *more)


def _load_range(start: int, data: bytes) -> LoadRange:
    return LoadRange(start, start + len(data) - 1)


def _parity(characters: Characters, span: Span) -> list[Finding]:
    """Parity errors among the records: lettering in the leader obeys no parity."""
    errors = characters.parity_errors
    inside = errors[slice(*errors.searchsorted(span))]
    return parity_findings(replace(characters, parity_errors=inside))


def _memory_findings(memory: Memory, placed: Placed, reading: Reading) -> list[Finding]:
    return [
        *_gaps(memory),
        *_overlaps(memory, placed),
        *_order(placed, reading.loads),
    ]


def _gaps(memory: Memory) -> list[Finding]:
    cells, breaks = memory.cells, memory.breaks

    def gap(index: int) -> Finding:
        cell = int(breaks[index])
        low, high = int(cells.addresses[cell]) + 1, int(cells.addresses[cell + 1]) - 1
        frame = int(cells.starts[cell + 1])
        return Finding(
            kind="address-gap",
            severity=Severity.NOTE,
            frame=frame,
            frames=int(cells.stops[cell + 1]) - frame,
            message=f"nothing is loaded at {low:04X} to {high:04X} ({high - low + 1} bytes)",
            advice="see whether the program expects a table or a workspace there",
        )

    return bounded(breaks.size, gap)


def _overlaps(memory: Memory, placed: Placed) -> list[Finding]:
    contested = set(memory.contested.tolist())

    def overlap(index: int) -> Finding:
        record = int(memory.rewritten[index])
        other = record in contested
        return placed.finding(
            record,
            "address-overlap",
            Severity.WARNING if other else Severity.NOTE,
            "this record loads addresses that were loaded before, with "
            + ("other bytes; the later ones stand" if other else "the same bytes"),
            "see whether the tape holds a correction or two programs"
            if other
            else "nothing: the memory is the same",
        )

    return bounded(memory.rewritten.size, overlap)


def _order(placed: Placed, loads: Loads) -> list[Finding]:
    """One note, at the first record that does not go on upwards."""
    back = np.flatnonzero(np.diff(loads.addresses) < 0)
    if not back.size:
        return []
    return [
        placed.finding(
            int(loads.records[back[0] + 1]),
            "address-order",
            Severity.NOTE,
            f"the records do not load in rising order: {back.size} step back, this one first",
            "nothing: the dump is in order of address",
        )
    ]


def _end_findings(reading: Reading, placed: Placed, start: int, stop: int) -> list[Finding]:
    if reading.end is None:
        return [
            placed.places.finding(
                start,
                stop,
                "end-record-missing",
                Severity.WARNING,
                "no end record follows the last record",
                "see whether the tape was torn off or read to its end",
            )
        ]
    after = np.flatnonzero(reading.loads.records > reading.end)
    if not after.size:
        return []
    return [
        placed.finding(
            int(reading.loads.records[after[0]]),
            "data-after-end",
            Severity.NOTE,
            f"from here {after.size} records with data follow the end record",
            "a loader stops before them: see whether they are a second program",
        )
    ]


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
