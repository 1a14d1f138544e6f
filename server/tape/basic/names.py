"""The names of variables, arrays and functions in the text of a BASIC program.

A name is a letter, and letters and digits after it as far as no keyword begins; `$` or `%` may end
it; one with a bracket behind it is an array. Rules of the 8K class, from memory.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from enum import Enum, auto
from functools import cache
from typing import Final, NamedTuple

LITERAL: Final = r'"[^"\n]*"?|REM[^\n]*|DATA(?:[^":\n]+|"[^"\n]*"?)*'
"""What is not looked into: strings, remarks and data."""

_NUMBER: Final = r"\d+(?:\.\d*)?(?:E[-+]?\d+)?"
_LINE_NUMBER: Final = r"^ *\d+"


class Use(Enum):
    """What a name is of."""

    VARIABLE = auto()
    ARRAY = auto()
    FUNCTION = auto()


class NameUsed(NamedTuple):
    """Characters `start` up to `stop` of the text are `name`, in capitals.

    `assigned` says whether it gets a value there (or a function its rule).
    """

    use: Use
    name: str
    start: int
    stop: int
    assigned: bool


class _Mode(Enum):
    """What a name at this place is."""

    STATEMENT = auto()
    """Given a value: the first name of a statement without a keyword, or after LET or FOR."""
    LIST = auto()
    """Given a value, like all others of the list that do not stand in brackets."""
    DEFINITION = auto()
    """A function that is defined, or what stands for its argument."""
    VALUE = auto()


_MODES: Final = {
    **dict.fromkeys(("LET", "FOR", "THEN", "ELSE"), _Mode.STATEMENT),
    **dict.fromkeys(("INPUT", "READ", "DIM", "NEXT"), _Mode.LIST),
    "DEF": _Mode.DEFINITION,
}


def alternatives(words: Iterable[str]) -> str:
    """A pattern for any of `words`, tried in their order; a blank in one stands for several."""
    # By their first letters, so that at most places one look tells that there is none.
    tails: defaultdict[str, list[str]] = defaultdict(list)
    for word in words:
        tails[word[0]].append(re.escape(word[1:]).replace(r"\ ", " +"))
    firsts = (f"{re.escape(first)}(?:{'|'.join(rest)})" for first, rest in tails.items())
    return f"(?:{'|'.join(firsts)})"


def names_used(text: str, words: tuple[str, ...]) -> Iterator[NameUsed]:
    """The names in `text`, lines of a program with their numbers, where `words` are keywords."""
    reader = _Reader()
    for match in _scanner(words).finditer(text):
        if match["word"] is not None:
            reader.word(match["word"].upper(), match.start("word"))
        elif match["name"] is not None:
            yield reader.name(match)
        else:
            # At the end of the text the mark is empty, so that every search ends in a match.
            reader.mark(match["mark"])


class _Reader:
    """What the next name is, by what stands before it."""

    def __init__(self) -> None:
        self._mode = _Mode.STATEMENT
        self._depth = 0
        self._function: int | None = None

    def word(self, word: str, start: int) -> None:
        self._function = start if word == "FN" else None
        if word in _MODES:
            self._mode = _MODES[word]
        elif self._mode is _Mode.STATEMENT:
            self._mode = _Mode.VALUE
        self._depth += word.endswith("(")

    def name(self, match: re.Match[str]) -> NameUsed:
        name, start = match["name"].upper(), match.start("name")
        use = Use.VARIABLE if match["bracket"] is None else Use.ARRAY
        if self._function is not None:
            use, name, start = Use.FUNCTION, f"FN{name}", self._function
        used = NameUsed(use, name, start, match.end("name"), self._is_assigned(use))
        if self._mode is _Mode.STATEMENT:
            self._mode = _Mode.VALUE
        self._function = None
        return used

    def _is_assigned(self, use: Use) -> bool:
        if self._mode is _Mode.DEFINITION:
            return (use is Use.FUNCTION) == (self._depth == 0)
        return self._mode is _Mode.STATEMENT or (self._mode is _Mode.LIST and self._depth == 0)

    def mark(self, mark: str) -> None:
        self._function = None
        if mark == "(":
            self._depth += 1
        elif mark == ")":
            self._depth -= 1
            if self._mode is _Mode.DEFINITION:
                self._mode = _Mode.VALUE
        else:
            self._mode, self._depth = _Mode.STATEMENT, 0


@cache
def _scanner(words: tuple[str, ...]) -> re.Pattern[str]:
    """Matches what a name depends on: keywords, names, brackets, and where a statement begins."""
    keyword = alternatives(words)
    passed_over = rf'{LITERAL}|{_LINE_NUMBER}|{_NUMBER}|[^A-Z\d"\n:()]+'
    name = rf"(?P<name>[A-Z](?:(?!{keyword})[A-Z\d])*[$%]?)(?P<bracket>(?= *\())?"
    return re.compile(
        rf"(?:{passed_over})*+(?:(?P<word>{keyword})|{name}|(?P<mark>[\n:()]|\Z))",
        re.IGNORECASE | re.ASCII | re.MULTILINE,
    )
