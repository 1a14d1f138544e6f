"""The token bytes of a BASIC line, to the text that the interpreter lists.

The rules are those of the 8K class, from memory: bytes from 80 are tokens, except between quotes,
after REM, and after DATA up to a colon outside quotes; no blank is added or taken away. Bytes
that stand for nothing are shown as {96}, two hexadecimal digits in braces.
"""

import re
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from server.tape.basic.dialect import PRINTING, Dialect

_HIGH = re.compile(rb"[\x80-\xff]")
_CONTROL = re.compile(rb"[\x00-\x1f\x7f]")
_QUOTE = ord('"')


class Uncrunched(NamedTuple):
    """The text of a line, and the offsets in its bytes of what is odd.

    `unknown`: tokens that the dialect lacks; `literal`: bytes from 80 where nothing is
    expanded; `control`: control characters.
    """

    text: str
    unknown: tuple[int, ...] = ()
    literal: tuple[int, ...] = ()
    control: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class _Tables:
    parts: re.Pattern[bytes]
    expanded: tuple[str, ...]
    as_it_stands: tuple[str, ...]
    literal_after: bytes
    ordinary: bytes


def uncrunch(tokens: bytes, dialect: Dialect) -> Uncrunched:
    """The text that `tokens`, a line without its number, stand for; never raises."""
    tables = _tables(dialect)
    expand, keep = tables.expanded.__getitem__, tables.as_it_stands.__getitem__
    pieces: list[str] = []
    unknown: list[int] = []
    literal: list[int] = []
    odd = bool(tokens.translate(None, tables.ordinary))
    for part in tables.parts.finditer(tokens):
        piece = part[0]
        if piece[0] in tables.literal_after:
            pieces.append(expand(piece[0]))
            pieces.extend(map(keep, piece[1:]))
            if not piece[1:].isascii():
                literal += _offsets(_HIGH, tokens, part.start() + 1, part.end())
            continue
        pieces.extend(map(expand, piece))
        if odd:
            high = _offsets(_HIGH, tokens, *part.span())
            unknown += [at for at in high if tokens[at] not in dialect.tokens]
    control = _offsets(_CONTROL, tokens, 0, len(tokens)) if odd else ()
    return Uncrunched("".join(pieces), tuple(unknown), tuple(literal), tuple(control))


def _offsets(pattern: re.Pattern[bytes], tokens: bytes, start: int, stop: int) -> list[int]:
    return [match.start() for match in pattern.finditer(tokens, start, stop)]


@cache
def _tables(dialect: Dialect) -> _Tables:
    rem, data = dialect.token("REM"), dialect.token("DATA")
    as_it_stands = tuple(
        chr(byte) if byte in PRINTING else f"{{{byte:02X}}}" for byte in range(256)
    )
    return _Tables(
        parts=re.compile(
            rb'"[^"]*"?|\x%02x.*|\x%02x(?:[^":]+|"[^"]*"?)*|[^"\x%02x\x%02x]+'
            % (rem, data, rem, data),
            re.DOTALL,
        ),
        expanded=tuple(dialect.tokens.get(byte, as_it_stands[byte]) for byte in range(256)),
        as_it_stands=as_it_stands,
        literal_after=bytes([_QUOTE, rem, data]),
        ordinary=PRINTING + bytes(dialect.tokens),
    )
