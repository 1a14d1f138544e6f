"""The token bytes of a BASIC line, to the text that the interpreter lists.

The rules are those of the 8K class, from memory: bytes from 80 are tokens, except between quotes,
after REM, and after DATA up to a colon outside quotes; no blank is added or taken away. Bytes
that stand for nothing are shown as {96}, two hexadecimal digits in braces.
"""

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import accumulate
from typing import NamedTuple

from server.tape.basic.dialect import PRINTING, Dialect

_HIGH = re.compile(rb"[\x80-\xff]")
_CONTROL = re.compile(rb"[\x01-\x1f\x7f]")
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
    """The text that `tokens`, a line without its number, stand for; never raises.

    A 00 is the end of a line to the interpreter; one that stands among the tokens is shown.
    """
    read = _read(tokens, dialect)
    return read._replace(text=read.text.replace("\0", "{00}"))


def uncrunch_all(
    lines: Sequence[bytes], dialect: Dialect
) -> tuple[list[str], dict[int, Uncrunched]]:
    """The texts of `lines`, none of which holds a 00; and the odd ones among them, by place.

    The same as `uncrunch` of each, but many times as fast.
    """
    if not lines:
        return [], {}
    read = _read(b"\0".join(lines), dialect)
    odd: dict[int, Uncrunched] = {}
    if any(read[1:]):
        ends = list(accumulate(len(line) + 1 for line in lines))
        places = sorted({bisect_right(ends, at) for offsets in read[1:] for at in offsets})
        odd = {place: uncrunch(lines[place], dialect) for place in places}
    return read.text.split("\0"), odd


def _read(tokens: bytes, dialect: Dialect) -> Uncrunched:
    """Lines of tokens with 00 between them, to their texts with the character NUL between."""
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
    shown = [chr(byte) if byte in PRINTING else f"{{{byte:02X}}}" for byte in range(256)]
    shown[0] = "\0"
    return _Tables(
        parts=re.compile(
            rb'"[^"\0]*"?|\x%02x[^\0]*|\x%02x(?:[^":\0]+|"[^"\0]*"?)*|[^"\x%02x\x%02x]+'
            % (rem, data, rem, data)
        ),
        expanded=tuple(dialect.tokens.get(byte, shown[byte]) for byte in range(256)),
        as_it_stands=tuple(shown),
        literal_after=bytes([_QUOTE, rem, data]),
        ordinary=b"\0" + PRINTING + bytes(dialect.tokens),
    )
