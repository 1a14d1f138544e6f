"""Cross-references of a BASIC listing: which lines it goes to, and which names it uses where.

A line is read as an interpreter of the 8K class reads it, from memory: left to right, the first
keyword of the table that stands at a place is one, even in the midst of a name; nothing counts in
strings, remarks and data. A listing that was crunched is read by its own dialect, any other by the
keywords of all dialects and of ECMA-55 Minimal BASIC.

Whether a line is ever reached is not judged: a program may be entered anywhere by a command.
"""

import re
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from itertools import accumulate
from typing import Final, NamedTuple

from server.tape.basic import DIALECTS
from server.tape.basic.dialect import Dialect
from server.tape.basic.names import LITERAL, Use, alternatives, names_used
from server.tape.findings import Finding, Severity
from server.tape.listing import Line

_GOES_TO: Final = ("GO TO", "GOTO", "GO SUB", "GOSUB", "THEN", "ELSE", "RUN", "RESTORE")
"""Keywords after which a number, or several with commas between, names lines."""

_NOT_CRUNCHED: Final = ("GO TO", "GO SUB", "ELSE", "RANDOMIZE", "OPTION BASE")
"""Keywords of listings that are not crunched besides those of the dialects (ECMA-55; ELSE is
common practice, no source)."""

MOST_LINES: Final = 1 << 16
"""No program has more lines: a number has two bytes (from memory)."""

_NUMBER: Final = re.compile(r"(?<!\d)\d{1,9}(?!\d)")
"""More digits are no number of a line, whatever else they are."""


class ReferenceKind(StrEnum):
    """What a reference is to."""

    LINE = "line"
    VARIABLE = "variable"
    ARRAY = "array"
    FUNCTION = "function"


class Reference(NamedTuple):
    """Characters `start` up to `stop` of the line with index `line` name something.

    `name` is as written, a line number without leading zeros; `number` is that of a line.
    `assigned` says whether a variable gets a value there, or a function its rule.
    """

    kind: ReferenceKind
    name: str
    line: int
    start: int
    stop: int
    number: int | None = None
    assigned: bool = False


@dataclass(frozen=True, slots=True)
class CrossReferences:
    """All references of a listing, in its order; `targets` gives the lines that are gone to.

    `targets` holds the index of the line of each number, by program: a listing may hold several
    one after the other, and `programs` tells where each begins.
    """

    references: tuple[Reference, ...]
    targets: tuple[Mapping[int, int], ...]
    programs: tuple[int, ...]

    def target(self, reference: Reference) -> int | None:
        """The index of the line that `reference` goes to; None where there is none."""
        if reference.number is None:
            return None
        program = sum(start <= reference.line for start in self.programs) - 1
        return self.targets[program].get(reference.number)

    def by_line(self) -> Mapping[int, tuple[Reference, ...]]:
        """The references to lines, by the index of the line in which they stand."""
        found: defaultdict[int, list[Reference]] = defaultdict(list)
        for reference in self.references:
            if reference.kind is ReferenceKind.LINE:
                found[reference.line].append(reference)
        return {index: tuple(references) for index, references in found.items()}

    def names(self) -> Mapping[tuple[ReferenceKind, str], tuple[Reference, ...]]:
        """The references to each variable, array and function, in order of the names."""
        found: defaultdict[tuple[ReferenceKind, str], list[Reference]] = defaultdict(list)
        for reference in self.references:
            if reference.kind is not ReferenceKind.LINE:
                found[reference.kind, reference.name].append(reference)
        return {key: tuple(found[key]) for key in sorted(found, key=_by_name)}


def _by_name(key: tuple[ReferenceKind, str]) -> tuple[str, str]:
    return key[1], key[0]


def cross_references(lines: Sequence[Line], dialect: Dialect | None = None) -> CrossReferences:
    """The references in `lines`, read by `dialect`, or by all keywords where there is none."""
    programs = (0, *(index for index, line in enumerate(lines) if _is_heading(line)))
    found = [*_line_references(lines, dialect), *_name_references(lines, dialect)]
    return CrossReferences(
        references=tuple(sorted(found, key=lambda each: (each.line, each.start))),
        targets=tuple(
            _by_number(lines, start, stop)
            for start, stop in zip(programs, (*programs[1:], len(lines)), strict=True)
        ),
        programs=programs,
    )


def _is_heading(line: Line) -> bool:
    """Whether the line stands between two programs of one listing."""
    return not line.frames


def _by_number(lines: Sequence[Line], start: int, stop: int) -> Mapping[int, int]:
    numbered = ((lines[at].key, at) for at in range(stop - 1, start - 1, -1))
    return {number: at for number, at in numbered if number is not None}


def missing_lines(lines: Sequence[Line], dialect: Dialect | None = None) -> list[Finding]:
    """A finding for each line of one program that goes to lines which it lacks.

    Lines beyond as many as there are numbers for are not looked at: they are no program.
    """
    held = {line.key for line in lines}
    missing: defaultdict[int, list[str]] = defaultdict(list)
    for index, number in _targets(lines[:MOST_LINES], dialect):
        if int(number[0]) not in held:
            missing[index].append(str(int(number[0])))
    return [_missing(lines[index], names) for index, names in missing.items()]


def _missing(line: Line, names: Sequence[str]) -> Finding:
    different = list(dict.fromkeys(names))
    which = f"line {different[0]}" if len(different) == 1 else f"lines {', '.join(different)}"
    return Finding(
        kind="missing-line",
        severity=Severity.WARNING,
        frame=line.frame,
        frames=max(line.frames, 1),
        message=f"this line goes to {which}, which the program does not have",
        advice="compare the line with the tape; else lines are missing, or the program stops there",
    )


def _line_references(lines: Sequence[Line], dialect: Dialect | None) -> Iterator[Reference]:
    for index, number in _targets(lines, dialect):
        value = int(number[0])
        yield Reference(ReferenceKind.LINE, str(value), index, *number.span(), value)


def _targets(lines: Sequence[Line], dialect: Dialect | None) -> Iterator[tuple[int, re.Match[str]]]:
    """The numbers of lines that each line goes to, with the index of that line."""
    grammar = _grammar(dialect)
    for index, line in enumerate(lines):
        # Most lines go nowhere, which is told many times as fast as where the others go.
        if not grammar.likely(line.text):
            continue
        for match in grammar.targets.finditer(line.text):
            for number in _NUMBER.finditer(line.text, *match.span("numbers")):
                yield index, number


def _name_references(lines: Sequence[Line], dialect: Dialect | None) -> Iterator[Reference]:
    at = _Places(lines)
    kinds = {
        Use.VARIABLE: ReferenceKind.VARIABLE,
        Use.ARRAY: ReferenceKind.ARRAY,
        Use.FUNCTION: ReferenceKind.FUNCTION,
    }
    for used in names_used(at.text, _grammar(dialect).words):
        line, start = at.place(used.start)
        stop = start + used.stop - used.start
        yield Reference(kinds[used.use], used.name, line, start, stop, assigned=used.assigned)


class _Places:
    """The lines as one text, and where in which line a place of it is."""

    def __init__(self, lines: Iterable[Line]) -> None:
        texts = ["" if _is_heading(line) else line.text for line in lines]
        self.text = "\n".join(texts)
        self._starts = list(accumulate((len(text) + 1 for text in texts), initial=0))

    def place(self, at: int) -> tuple[int, int]:
        """The index of the line, and the character in it."""
        line = bisect_right(self._starts, at) - 1
        return line, at - self._starts[line]


@dataclass(frozen=True, slots=True)
class _Grammar:
    words: tuple[str, ...]
    likely: Callable[[str], object]
    targets: re.Pattern[str]


@cache
def _grammar(dialect: Dialect | None) -> _Grammar:
    """The keywords in the order in which they are tried, and what finds the numbers of lines."""
    if dialect is not None:
        words = tuple(word for _, word in sorted(dialect.tokens.items()))
    else:
        every = {word for each in DIALECTS.values() for word in each.tokens.values()}
        words = tuple(sorted({*every, *_NOT_CRUNCHED}, key=lambda word: (-len(word), word)))
    goes_to = alternatives(word for word in words if word in _GOES_TO)
    others = alternatives(word for word in words if word not in _GOES_TO)
    flags = re.IGNORECASE | re.ASCII
    # All that lies between is passed over in one go, never to be looked at again.
    between = rf'(?:(?!{goes_to})(?:{LITERAL}|{others}|[^A-Z"]+|[A-Z]))*+'
    return _Grammar(
        words=words,
        likely=re.compile(rf"{goes_to} *\d", flags).search,
        targets=re.compile(rf"{between}(?:{goes_to} *(?P<numbers>[\d ,]*)|\Z)", flags),
    )
