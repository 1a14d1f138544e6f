"""Findings about where loading ends: no end record, or data after it."""

import numpy as np

from server.tape.findings import Finding, Severity
from server.tape.hexadecimal.reading import Placed, Reading


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
