"""Records that fail: what stands on the tape, what was due, and which bytes can be kept."""

import re
from typing import Final, NamedTuple

import numpy as np

from server.tape.findings import Finding, Severity
from server.tape.hexadecimal.equations import LONGEST_LENGTH
from server.tape.hexadecimal.mending import Mended, bytes_as_said, bytes_of, mend
from server.tape.hexadecimal.places import FIRST_FINDINGS, Places
from server.tape.hexadecimal.records import NIBBLES, NO_DIGIT, Grammar, Scan
from server.tape.hexadecimal.repairs import Broken, repairs, slipped

MOST_READ: Final = 5000
"""How many failing records are looked into; a tape of noise has any number of them."""

_LINE_END = re.compile(rb"[\r\n]")
_FILL = bytes(range(0x21))
_READ_AGAIN = "read these frames again"


class Failure(NamedTuple):
    """A record that fails: its characters, its type, its bytes if they are kept, and why."""

    start: int
    stop: int
    kind: int
    data: bytes | None
    finding: Finding


class Failing:
    """Looks into the suspects of a scan, in the order of the tape."""

    def __init__(self, text: bytes, scan: Scan, grammar: Grammar, places: Places) -> None:
        self._text = text
        self._scan = scan
        self._grammar = grammar
        self._places = places
        self._longest = grammar.characters(LONGEST_LENGTH + grammar.beyond)
        # What is told of is looked into closely; a tape of noise would cost too much.
        self._close_looks = FIRST_FINDINGS

    def failures(self) -> list[Failure]:
        """What was found at each suspect that is not part of another record."""
        found: list[Failure] = []
        suspects = self._scan.suspects[:MOST_READ]
        solid = self._scan.records.starts
        limits = np.append(solid, len(self._text))[solid.searchsorted(suspects)]
        for start, limit in zip(suspects.tolist(), limits.tolist(), strict=True):
            if not found or start >= found[-1].stop:
                found.append(self._at(start, limit))
        return found

    @property
    def looked_into(self) -> int:
        """The character up to which all suspects were looked into."""
        rest = self._scan.suspects[MOST_READ:]
        return int(rest[0]) if rest.size else len(self._text)

    def unread(self) -> list[Finding]:
        """One finding for the suspects beyond the bound."""
        rest = self._scan.suspects[MOST_READ:]
        if not rest.size:
            return []
        message = f"from here {rest.size} more records fail, and were not looked into"
        advice = "check the reader's levels and speed, then read the tape again"
        span = int(rest[0]), int(rest[-1]) + 1
        return [self._places.finding(*span, "record-unread", Severity.DAMAGE, message, advice)]

    def _at(self, start: int, limit: int) -> Failure:
        wide = self._line_end(start, limit)
        # A hole too many can turn a digit into a mark, so first look past the next mark; one
        # too few turns it into a control character, so only CR and LF end a line.
        next_mark = self._text.find(self._grammar.mark, start + 1, wide)
        narrow = self._without_fill(start, next_mark) if next_mark > start else wide
        for stop in (wide, narrow):
            line = self._text[start:stop]
            mended = mend(line, self._grammar)
            if mended:
                return self._mended(start, stop, mended)
        return self._slipped(start, narrow) or self._checksum(start) or self._unread(start, narrow)

    def _line_end(self, start: int, limit: int) -> int:
        bound = min(limit, start + self._longest)
        end = _LINE_END.search(self._text, start + 1, bound)
        return self._without_fill(start, end.start() if end else bound)

    def _without_fill(self, start: int, stop: int) -> int:
        return start + len(self._text[start:stop].rstrip(_FILL))

    def _kind(self, start: int) -> int:
        return NIBBLES[self._text[start + 1]] if start + 1 < len(self._text) else NO_DIGIT

    def _failure(
        self, start: int, stop: int, data: bytes | None, kind: str, message: str, advice: str
    ) -> Failure:
        parity = parity_clause(self._places.parity_errors(start, stop))
        finding = self._places.finding(start, stop, kind, Severity.DAMAGE, message + parity, advice)
        return Failure(start, stop, self._kind(start), data, finding)

    def _mended(self, start: int, stop: int, mended: Mended) -> Failure:
        line = self._text[start:stop]
        name = self._name(start, mended.data)
        at = self._grammar.length_at
        if mended.place == at:
            said = line[self._grammar.characters(at) : self._grammar.characters(at + 1)]
            message = (
                f"{name} gives its length as {said.decode('ascii')!r}; its line has the length "
                f"{mended.data[at]:02X}, and the checksum agrees with the line"
            )
            advice = f"{_READ_AGAIN}: the length is likely misread; the bytes were loaded"
            return self._failure(start, stop, mended.data, "length-mismatch", message, advice)
        message = f"{name} has {_unreadable(line, self._grammar)}"
        advice = (
            f"{_READ_AGAIN}; by the checksum that byte is {mended.data[mended.place]:02X}, "
            "and so it was loaded"
        )
        return self._failure(start, stop, mended.data, "not-hexadecimal", message, advice)

    def _checksum(self, start: int) -> Failure | None:
        """The record at `start`, if only its checksum fails."""
        data = bytes_as_said(self._text[start : start + self._longest], self._grammar)
        if data is None:
            return None
        stop = start + self._grammar.characters(len(data))
        message = f"{self._name(start, data)} {self._grammar.check.fault(data)}"
        advice = f"{_READ_AGAIN}{self._repairs(start, stop)}; the bytes were loaded as read"
        return self._failure(start, stop, data, "checksum-mismatch", message, advice)

    def _repairs(self, start: int, stop: int) -> str:
        """What one hole in each doubtful character could put right."""
        if not self._may_look_closely():
            return ""
        tells = self._places.characters.parity.detects_flips
        broken = Broken(self._places.parity_errors(start, stop), tells)
        return repairs(self._text[start:stop], broken, self._grammar)

    def _slipped(self, start: int, stop: int) -> Failure | None:
        """The record at `start`, if one digit more or less would make it right."""
        line = self._text[start:stop]
        if not self._may_slip(line):
            return None
        found = slipped(line, self._grammar)
        if found is None:
            return None
        name = self._name(start, bytes_of(line[self._grammar.head :])[0])
        advice = f"{_READ_AGAIN}; {found.advice}; none of the record was loaded"
        return self._failure(start, stop, None, found.kind, f"{name} {found.what}", advice)

    def _may_slip(self, line: bytes) -> bool:
        return (len(line) - self._grammar.head) % 2 == 1 and self._may_look_closely()

    def _may_look_closely(self) -> bool:
        self._close_looks -= 1
        return self._close_looks >= 0

    def _unread(self, start: int, stop: int) -> Failure:
        """A record too short or too damaged for any of its bytes to be believed."""
        line = self._text[start:stop]
        data, unread = bytes_of(line[self._grammar.head :])
        name = self._name(start, data)
        at = self._grammar.length_at
        due = self._grammar.characters(self._grammar.size_of(data[at])) if len(data) > at else 0
        advice = f"{_READ_AGAIN}; none of the record was loaded"
        if unread and (at in unread or len(line) >= due):
            message = f"{name} has {_unreadable(line, self._grammar)}"
            return self._failure(start, stop, None, "not-hexadecimal", message, advice)
        message = f"{name} has {len(line)} characters where its length calls for {due}"
        return self._failure(start, stop, None, "record-truncated", message, advice)

    def _name(self, start: int, data: bytes | bytearray) -> str:
        return record_name(self._kind(start), bytes(data), self._grammar)


def record_name(kind: int, data: bytes, grammar: Grammar) -> str:
    """What a message calls the record with these bytes."""
    at = grammar.address_at
    return f"the record for address {data[at : at + grammar.width(kind)].hex().upper()}"


def parity_clause(errors: list[int]) -> str:
    """The end of a message about a record of which these characters break parity."""
    if not errors:
        return ""
    which = ", ".join(str(error + 1) for error in errors[:5])
    more = f" and {len(errors) - 5} more" if len(errors) > 5 else ""
    return f"; parity is broken at character {which}{more}"


def _unreadable(line: bytes, grammar: Grammar) -> str:
    """The characters of `line` that should be digits and are not, in words."""
    bad = [at for at in range(grammar.head, len(line)) if NIBBLES[line[at]] == NO_DIGIT]
    first = ", ".join(f"{chr(line[at])!r} at character {at + 1}" for at in bad[:5])
    more = f" and {len(bad) - 5} more" if len(bad) > 5 else ""
    return f"{first}{more} where hexadecimal digits are due"


def kept(failures: list[Failure]) -> list[tuple[int, int, int, bytes]]:
    """The failures whose bytes are loaded, as `records.joined` takes them."""
    return [(each.start, each.stop, each.kind, each.data) for each in failures if each.data]
