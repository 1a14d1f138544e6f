"""Records with their frames, and what a format makes of them."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Integers
from server.tape.findings import Finding, Severity
from server.tape.hexadecimal.places import Places
from server.tape.hexadecimal.records import Records
from server.tape.loading import Loads


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

    def wrap(self, record: int) -> Finding:
        """The finding that one record runs past the last address that it can give."""
        return self.finding(
            record,
            "address-wrap",
            Severity.WARNING,
            "the record runs past its last address and goes on at the first",
            "see whether the address of the record is right",
        )


@dataclass(frozen=True, slots=True)
class Reading:
    """What a format makes of its records: `end` is the record that ends the program."""

    dialect: str | None
    loads: Loads
    end: int | None
    entry_address: int | None
    findings: list[Finding]


def end_record(records: Records, ends: NDArray[np.bool_]) -> int | None:
    """Which of the records that may end a program does, if any: `ends` says which may."""
    # One that fails may be a data record with a hole too many, unless it is the last.
    last = np.arange(len(records)) == len(records) - 1
    for sure in (ends & records.sound, ends & last):
        found = np.flatnonzero(sure)
        if found.size:
            return int(found[0])
    return None
