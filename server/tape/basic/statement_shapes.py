"""What statements of BASIC look like, once each keyword is put as a letter for its part in them.

The rules are those of the language itself: ECMA-55 for the statements that it has, from memory;
for the others (POKE, WAIT, TAB and the like), common practice, no source. They are looser than
an interpreter: brackets need not close, and kinds of value are not told apart.
"""

import re
from typing import Final

LITERAL: Final = ord("R")
"""A remark, or data: whatever stands in it is right."""

STRING: Final = b"Q"
UNKNOWN: Final = ord("?")
NAME, DIGIT = ord("A"), ord("0")

PARTS: Final = {
    word: ord(part)
    for part, words in (
        ("F", "FOR"),
        ("T", "TO"),
        ("S", "STEP"),
        ("I", "IF"),
        ("t", "THEN"),
        ("g", "GOTO GOSUB"),
        ("O", "ON"),
        ("L", "LET"),
        ("P", "PRINT"),
        ("D", "DIM"),
        ("i", "INPUT READ"),
        ("x", "NEXT"),
        ("e", "END RETURN STOP CONT NEW"),
        ("r", "RESTORE RUN LIST"),
        ("d", "DEF"),
        ("N", "FN"),
        ("c", "CLEAR NULL LOAD SAVE CLOAD CSAVE"),
        ("p", "OUT POKE WAIT"),
        ("b", "TAB( SPC("),
        ("m", "+ -"),
        ("o", "* / ^ AND OR"),
        ("n", "NOT"),
        ("q", "= < >"),
        ("R", "REM DATA"),
        ("f", "SGN INT ABS USR FRE INP POS SQR RND LOG EXP COS SIN TAN ATN PEEK"),
        ("f", "LEN STR$ VAL ASC CHR$ LEFT$ RIGHT$ MID$"),
    )
    for word in words.split()
}
"""The part of each keyword. One that is not here, of a dialect that a club adds, may be a
statement or a value: it is the letter u."""

OTHER_KEYWORD: Final = ord("u")

EQUALS: Final = ord("=")
"""The part of the one relation that also gives a variable its value."""

_NAME: Final = r"A[A0]*[$%]?"
_BEFORE: Final = rf"(?:[mn(]|f\(|u\(|NA[A0]*\(|{_NAME}\()*+"
_VALUE: Final = rf"(?:[0.]++(?:A[mo]?0*)?|{_NAME}|Q|u)"
_JOIN: Final = r"(?:[q=]{1,2}|[mo,])"
_EXPRESSION: Final = rf"(?>{_BEFORE}{_VALUE}\)*(?:{_JOIN}{_BEFORE}{_VALUE}\)*)*)"
_VALUES: Final = rf"(?=[^,]+,){_EXPRESSION}"
_NAMES: Final = rf"(?=A[^q=]*\Z){_EXPRESSION}"
_NUMBERS: Final = r"0+(?:,0*)*"

_SIMPLE: Final = "|".join(
    (
        r"R",
        rf"P(?:{_EXPRESSION}|b|[;,)])*+",
        rf"L?(?=A[^q=]*=){_EXPRESSION}",
        r"g0+",
        rf"F(?=A[A0]*%?=){_EXPRESSION}T{_EXPRESSION}(?:S{_EXPRESSION})?",
        rf"x(?:{_NAMES})?",
        rf"i(?:Q[;,])?{_NAMES}",
        r"e",
        r"r0*",
        rf"O{_EXPRESSION}g{_NUMBERS}",
        rf"D{_NAMES}",
        rf"dNA[A0]*\(A[A0]*\)={_EXPRESSION}",
        rf"p{_VALUES}",
        rf"c(?:{_EXPRESSION})?",
        r"u[^?]*",
    )
)

STATEMENT: Final = re.compile(
    rf"(?:I{_EXPRESSION}t)*(?:{_SIMPLE}|I{_EXPRESSION}(?:g0+|t0+))".encode()
)
"""A whole statement, put in the letters of `PARTS`, without its blanks."""
