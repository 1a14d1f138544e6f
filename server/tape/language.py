"""What language a listing is written in, as far as its lines tell.

Source of the keywords: ECMA-55 Minimal BASIC, from memory.
"""

import re

from server.tape.listing import Listing

_NUMBERED = re.compile(r" *(\d{1,5}) *(?=\D|$)")
_STATEMENT = re.compile(
    r" *\d{1,5} *(?:DATA|DEF|DIM|END|FOR|GO ?SUB|GO ?TO|IF|INPUT|LET|NEXT|ON|PRINT|\?|READ|REM|"
    r"RESTORE|RETURN|STOP|POKE|OUT|CLEAR|[A-Z][A-Z0-9]?\$? *[=(])",
    re.IGNORECASE,
)
_ENOUGH = 0.6
"""Share of the lines that must be numbered statements; the rest may be remarks of a person."""


def line_number(text: str) -> int | None:
    """The line number that `text` begins with, or None."""
    match = _NUMBERED.match(text)
    return int(match[1]) if match else None


def name_language(listing: Listing) -> str | None:
    """'basic' where most lines are numbered statements of it, else None."""
    lines = [line.text for line in listing if line.text.strip()]
    statements = sum(1 for text in lines if _STATEMENT.match(text))
    return "basic" if lines and statements >= len(lines) * _ENOUGH else None
