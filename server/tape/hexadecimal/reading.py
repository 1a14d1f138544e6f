"""Records with their frames, and what a format makes of them."""

from dataclasses import dataclass
from typing import NamedTuple

from server.tape.findings import Finding, Severity
from server.tape.hexadecimal.places import Places
from server.tape.hexadecimal.records import Integers, Records
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


@dataclass(frozen=True, slots=True)
class Reading:
    """What a format makes of its records: `end` is the record that ends the program."""

    dialect: str
    loads: Loads
    end: int | None
    entry_address: int | None
    findings: list[Finding]
