"""How plausible a program is under a dialect's table: do its tokens make statements?

A wrong table gives keywords in places where no program has them. The rules are those of the
language itself (ECMA-55 for the statements it has; for the others, common practice, no source).
"""

import re
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import islice
from typing import Final

from server.tape.basic.dialect import PRINTING, Dialect

_ENOUGH_LINES: Final = 200

# What each keyword is, as one letter of a line's shape.
_BEGINS: Final = "CLEAR DATA DEF DIM FOR IF INPUT LET NEXT NULL ON OUT POKE PRINT READ REM WAIT"
_STANDS_ALONE: Final = "END RETURN STOP RESTORE RUN"
_BEFORE_NUMBER: Final = "GOTO GOSUB"
_BEFORE_BRACKET: Final = (
    "SGN INT ABS USR FRE INP POS SQR RND LOG EXP COS SIN TAN ATN PEEK LEN STR$ VAL ASC CHR$ "
    "LEFT$ RIGHT$ MID$"
)
_JOINS: Final = "TO STEP NOT AND OR + - * / ^ > = < TAB( SPC( FN"
_SHAPES: Final = {
    word: shape
    for shape, words in (
        ("s", _BEGINS),
        ("e", _STANDS_ALONE),
        ("g", _BEFORE_NUMBER),
        ("f", _BEFORE_BRACKET),
        ("o", _JOINS),
        ("t", "THEN"),
    )
    for word in words.split()
}

_GOOD_STATEMENT: Final = re.compile(
    rb"s(?:[^setgf?]|f\()*(?:g[\d,]+)?|e|g[\d,]+|[\d,]+|A(?:[^setgf?]|f\()*"
)


def plausibility(texts: Iterable[bytes], dialect: Dialect) -> float:
    """The share, 0 to 1, of the statements in crunched `texts` that make sense in `dialect`.

    At most the first 200 lines are looked at; 0 where there is no statement.
    """
    good = total = 0
    for text in islice(texts, _ENOUGH_LINES):
        for statement in _statements(text, dialect):
            total += 1
            good += _GOOD_STATEMENT.fullmatch(statement) is not None
    return good / total if total else 0.0


def choose_dialect(texts: Sequence[bytes], dialects: Iterable[Dialect]) -> Dialect:
    """The dialect under which `texts` are most plausible; the first of equal ones."""
    return max(dialects, key=lambda dialect: plausibility(texts, dialect))


def _statements(text: bytes, dialect: Dialect) -> list[bytes]:
    """The shapes of the statements of one line, what stands literally in it left out."""
    literal, shape = _tables(dialect)
    shapes = literal.sub(rb"\1\2", text).translate(shape, b" ")
    return [statement for statement in re.split(rb"[:t]+", shapes) if statement]


@cache
def _tables(dialect: Dialect) -> tuple[re.Pattern[bytes], bytes]:
    """What finds strings, remarks and data; and the shape letter of each byte."""
    rem, data = dialect.token("REM"), dialect.token("DATA")
    literal = re.compile(
        rb'"[^"]*"?|(\x%02x).*|(\x%02x)(?:[^":]+|"[^"]*"?)*' % (rem, data), re.DOTALL
    )
    shape = bytearray(b"?" * 256)
    for byte in PRINTING:
        shape[byte] = ord("A") if chr(byte).isalpha() else byte
    shape[ord("?")] = ord("o")
    for token, word in dialect.tokens.items():
        shape[token] = ord(_SHAPES.get(word, "?"))
    return literal, bytes(shape)
