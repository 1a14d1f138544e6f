"""What stands between records: line ends, text that readers skip, records that lost their mark."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from server.tape.dump import Bytes, Integers
from server.tape.findings import Finding, Severity
from server.tape.hexadecimal.failures import Failure, parity_clause, record_name
from server.tape.hexadecimal.mending import checked
from server.tape.hexadecimal.places import Places
from server.tape.hexadecimal.records import NIBBLES, NO_DIGIT, Grammar

MOST_LINES: Final = 2000
"""How many lines outside the records are looked at."""

_LINE = re.compile(rb"[^\x00-\x1f]+")
_QUOTED = 24
_DIGITS_SHARE = 0.8


@dataclass(frozen=True, slots=True)
class Outside:
    """What the lines outside the records hold."""

    failures: list[Failure]
    notes: list[Finding]


def printable(text: bytes) -> Bytes:
    """1 for each character that is neither space, control nor fill, else 0."""
    return (np.frombuffer(text, np.uint8) > 0x20).view(np.uint8)


def outside(
    text: bytes, starts: Integers, stops: Integers, grammar: Grammar, places: Places
) -> Outside:
    """The findings on all that `text` holds outside `starts` to `stops`, which rise.

    `text` may end before the last of them.
    """
    within = starts.searchsorted(len(text))
    starts, stops = starts[:within], np.minimum(stops[:within], len(text))
    marks = printable(text)
    if int(np.count_nonzero(marks)) == int((stops - starts).sum()):
        return Outside([], [])
    failures: list[Failure] = []
    notes: list[Finding] = []
    for count, (start, stop) in enumerate(_lines(text, marks, starts, stops)):
        if count == MOST_LINES:
            notes.append(_too_many(start, len(text), places))
            break
        lost = _lost_record(text[start:stop], start, grammar, places)
        if lost:
            failures.append(lost)
        else:
            notes.append(_note(text[start:stop], start, grammar, places))
    return Outside(failures, notes)


def _lines(
    text: bytes, marks: Bytes, starts: Integers, stops: Integers
) -> Iterator[tuple[int, int]]:
    """Where each line outside the records begins and ends, spaces around it left out."""
    before = np.append(0, np.cumsum(marks, dtype=np.int64))
    gap_starts, gap_stops = np.append(0, stops), np.append(starts, len(text))
    filled = np.flatnonzero(before[gap_stops] > before[gap_starts])
    for gap in filled.tolist():
        for line in _LINE.finditer(text, int(gap_starts[gap]), int(gap_stops[gap])):
            content = line.group().strip()
            if content:
                start = line.start() + line.group().index(content)
                yield start, start + len(content)


def _lost_record(line: bytes, start: int, grammar: Grammar, places: Places) -> Failure | None:
    """The record that `line` is, or was, but for its mark."""
    digits = len(line) - line.translate(NIBBLES).count(NO_DIGIT)
    if digits < max(_DIGITS_SHARE * len(line), 2 * grammar.least) or b" " in line:
        return None
    stop = start + len(line)
    parity = parity_clause(places.parity_errors(start, stop))
    for rest in (line, line[1:]):
        marked = grammar.mark + rest
        kind = NIBBLES[marked[1]]
        data = checked(marked, grammar) if grammar.head == 1 or kind < 10 else None
        if data:
            message = f"{record_name(kind, data, grammar)} has no record mark{parity}"
            advice = "read these frames again; its checksum passes, and its bytes were loaded"
            where = places.finding(
                start, stop, "record-mark-missing", Severity.DAMAGE, message, advice
            )
            return Failure(start, stop, kind, data, where)
    message = f"{len(line)} characters look like a record, and cannot be read as one{parity}"
    advice = "read these frames again; none of this was loaded"
    where = places.finding(start, stop, "record-unread", Severity.DAMAGE, message, advice)
    return Failure(start, stop, NO_DIGIT, None, where)


def _note(line: bytes, start: int, grammar: Grammar, places: Places) -> Finding:
    if grammar.abort and line.startswith(grammar.abort):
        return places.finding(
            start,
            start + len(line),
            "abort-record",
            Severity.WARNING,
            f"whoever sent the records broke off here, saying {_quoted(line)}",
            "look for another tape of the program: this one was not finished",
        )
    return places.finding(
        start,
        start + len(line),
        "text-outside-records",
        Severity.NOTE,
        f"outside the records stands {_quoted(line)}",
        "nothing: loaders skip it; it may be a title, a comment or lettering",
    )


def _quoted(line: bytes) -> str:
    return repr(line[:_QUOTED].decode("ascii") + ("…" if len(line) > _QUOTED else ""))


def _too_many(start: int, stop: int, places: Places) -> Finding:
    return places.finding(
        start,
        stop,
        "text-outside-records",
        Severity.NOTE,
        "from here more text stands outside the records than was looked at",
        "check that this is a tape of records at all",
    )
