"""How plausible a program is under a dialect's table: do its tokens make statements?

A wrong table gives keywords in places where no program has them. What a statement looks like is
in `server.tape.basic.statement_shapes`.
"""

import re
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import islice
from typing import Final, NamedTuple

from server.tape.basic.dialect import PRINTING, Dialect
from server.tape.basic.statement_shapes import (
    DIGIT,
    EQUALS,
    LITERAL,
    NAME,
    OTHER_KEYWORD,
    PARTS,
    STATEMENT,
    STRING,
    UNKNOWN,
)

_ENOUGH_LINES: Final = 200

_NEARLY: Final = 0.1
"""A table is nearly as good as another where it explains as many statements but for this share of
those that the two read differently, or for a single one; by judgement."""

_ALWAYS_TOKENS: Final = b"+-*/^<>="
"""Characters that the interpreter crunches, so that outside literals they stand for nothing."""


class Choice(NamedTuple):
    """The dialect that explains a program best, and those that do nearly as well.

    `alike` tells whether the program reads the same in all of them, as far as was looked.
    """

    dialect: Dialect
    rivals: tuple[Dialect, ...] = ()
    alike: bool = True


def plausibility(texts: Iterable[bytes], dialect: Dialect) -> float:
    """The share, 0 to 1, of the statements in crunched `texts` that make sense in `dialect`.

    At most the first 200 lines are looked at; 0 where there is no statement.
    """
    return _share(_judged(islice(texts, _ENOUGH_LINES), dialect))


def choose_dialect(texts: Sequence[bytes], dialects: Iterable[Dialect]) -> Choice:
    """The dialect under which most statements of `texts` make sense; the first of equal ones."""
    texts = [text for text in texts[:_ENOUGH_LINES] if text]
    tried = [(dialect, _judged(texts, dialect)) for dialect in dialects]
    best, lines = max(tried, key=lambda each: _share(each[1]))
    rivals = []
    alike = True
    for other, others in tried:
        differing = _read_differently(texts, best, other)
        telling = [
            (mine, theirs)
            for mine, theirs, differs in zip(lines, others, differing, strict=True)
            if differs
        ]
        lost = sum(sum(mine) - sum(theirs) for mine, theirs in telling)
        nearly = max(1, _NEARLY * sum(len(mine) for mine, _ in telling))
        if other is not best and lost <= nearly:
            rivals.append(other)
            alike = alike and not telling
    return Choice(best, tuple(rivals), alike)


def _share(lines: Iterable[Sequence[bool]]) -> float:
    judged = [good for line in lines for good in line]
    return sum(judged) / len(judged) if judged else 0.0


def _judged(texts: Iterable[bytes], dialect: Dialect) -> list[list[bool]]:
    """Whether each statement of each line makes sense."""
    return [
        [STATEMENT.fullmatch(statement) is not None for statement in _statements(text, dialect)]
        for text in texts
    ]


def _read_differently(texts: Iterable[bytes], one: Dialect, other: Dialect) -> list[bool]:
    """Whether each line holds a token, outside its literals, that the two expand differently."""
    same = bytes(
        byte for byte in range(256) if byte < 0x80 or one.tokens.get(byte) == other.tokens.get(byte)
    )
    literal = _tables(one)[0]
    return [bool(literal.sub(rb"\1\2", text).translate(None, same)) for text in texts]


def _statements(text: bytes, dialect: Dialect) -> list[bytes]:
    """The shapes of the statements of one line, literals put as one letter."""
    literal, shape = _tables(dialect)
    shapes = literal.sub(_put, text).translate(shape, b" ")
    return [statement for statement in shapes.split(b":") if statement]


def _put(literal: re.Match[bytes]) -> bytes:
    """A string as a string of nothing; a remark or data as its token alone."""
    return literal[1] or literal[2] or b'"'


@cache
def _tables(dialect: Dialect) -> tuple[re.Pattern[bytes], bytes]:
    """What finds strings, remarks and data; and the letter for the part of each byte."""
    rem, data = dialect.token("REM"), dialect.token("DATA")
    literal = re.compile(
        rb'"[^"]*"?|(\x%02x).*|(\x%02x)(?:[^":]+|"[^"]*"?)*' % (rem, data), re.DOTALL
    )
    shape = bytearray([UNKNOWN] * 256)
    for byte in PRINTING:
        letter = chr(byte)
        shape[byte] = NAME if letter.isalpha() else DIGIT if letter.isdigit() else byte
    for byte in _ALWAYS_TOKENS:
        shape[byte] = UNKNOWN
    shape[ord('"')] = STRING[0]
    for token, word in dialect.tokens.items():
        shape[token] = EQUALS if word == "=" else PARTS.get(word, OTHER_KEYWORD)
    shape[rem] = shape[data] = LITERAL
    return literal, bytes(shape)
