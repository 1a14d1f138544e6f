"""Findings about what records load: gaps, overlaps, order, and where loading ends."""

import numpy as np

from server.tape.findings import Finding, Severity
from server.tape.hexadecimal.memory import Loads, Memory
from server.tape.hexadecimal.places import bounded
from server.tape.hexadecimal.reading import Placed, Reading


def memory_findings(memory: Memory, placed: Placed, reading: Reading) -> list[Finding]:
    """Gaps, overlaps, and loading out of order."""
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
        record = int(cells.sources[cell + 1])
        frame = int(cells.starts[record])
        return Finding(
            kind="address-gap",
            severity=Severity.NOTE,
            frame=frame,
            frames=int(cells.stops[record]) - frame,
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


def end_findings(reading: Reading, placed: Placed, last: tuple[int, int]) -> list[Finding]:
    """No end record, after the record at characters `last`; or data after it."""
    if reading.end is None:
        return [
            placed.places.finding(
                *last,
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
