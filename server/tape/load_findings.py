"""Findings about what is loaded: gaps, overlaps, and loading out of order."""

from dataclasses import dataclass

import numpy as np

from server.tape.cpu.notation import Notation
from server.tape.findings import Finding, Severity, place
from server.tape.hexadecimal.places import bounded
from server.tape.loading import Loads, Memory


@dataclass(frozen=True, slots=True)
class Terms:
    """How a class of machines speaks: what loads memory, what a cell is, how numbers go."""

    unit: str = "record"
    cells: str = "bytes"
    notation: Notation = Notation.HEX
    cell_bytes: int = 1

    def address(self, value: int) -> str:
        """An address as that machine's people write it."""
        return self.notation.address(value, self.cell_bytes)


HEX_RECORDS = Terms()


def memory_findings(memory: Memory, loads: Loads, terms: Terms = HEX_RECORDS) -> list[Finding]:
    """Gaps, overlaps, and loading out of order; `memory` is what `loads` leave."""
    return [
        *_gaps(memory, terms),
        *_overlaps(memory, loads, terms),
        *_order(loads, terms),
    ]


def load_finding(
    loads: Loads, index: int, kind: str, severity: Severity, message: str, advice: str
) -> Finding:
    """A finding about the record of stretch `index`, its place put before `message`."""
    frame = int(loads.starts[index])
    return Finding(
        kind=kind,
        severity=severity,
        frame=frame,
        frames=int(loads.stops[index]) - frame,
        message=f"{place(frame)}: {message}",
        advice=advice,
    )


def _gaps(memory: Memory, terms: Terms) -> list[Finding]:
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
            message=f"nothing is loaded at {terms.address(low)} to {terms.address(high)} "
            f"({high - low + 1} {terms.cells})",
            advice="see whether the program expects a table or a workspace there",
        )

    return bounded(breaks.size, gap)


def _overlaps(memory: Memory, loads: Loads, terms: Terms) -> list[Finding]:
    contested = set(memory.contested.tolist())
    at = loads.records.searchsorted(memory.rewritten)

    def overlap(index: int) -> Finding:
        other = int(memory.rewritten[index]) in contested
        return load_finding(
            loads,
            int(at[index]),
            "address-overlap",
            Severity.WARNING if other else Severity.NOTE,
            f"this {terms.unit} loads addresses that were loaded before, with "
            + (
                f"other {terms.cells}; the later ones stand" if other else f"the same {terms.cells}"
            ),
            "see whether the tape holds a correction or two programs"
            if other
            else "nothing: the memory is the same",
        )

    return bounded(memory.rewritten.size, overlap)


def _order(loads: Loads, terms: Terms) -> list[Finding]:
    """One note, at the first record that does not go on upwards."""
    back = np.flatnonzero(np.diff(loads.addresses) < 0)
    if not back.size:
        return []
    return [
        load_finding(
            loads,
            int(back[0]) + 1,
            "address-order",
            Severity.NOTE,
            f"the {terms.unit}s do not load in rising order: {back.size} step back, this one first",
            "nothing: the dump is in order of address",
        )
    ]
