"""A run of bytes with gaps in it, as it is written: `C3 ?? 01`, `303 ??? 001`, `"LOAD" 0D`."""

import re
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby
from typing import Final, NamedTuple

from server.catalog.errors import Invalid
from server.store.grams import LENGTHS

LONGEST: Final = 512
"""Bytes of a pattern at most."""

_ALL = 0xFF
_CHANNELS = 0x7F
"""Characters are looked for whatever their parity, which channel 8 holds."""

_TOKEN = re.compile(
    r"""\s*(?:"(?P<double>[^"]*)"|'(?P<single>[^']*)'|(?P<digits>[^\s"',]+))\s*,?"""
)


class Base(StrEnum):
    """How the digits of a pattern are meant."""

    AUTO = "auto"
    HEX = "hex"
    OCTAL = "octal"


class Element(NamedTuple):
    """One byte of a pattern: where `mask` has a one, it is as in `value`."""

    value: int
    mask: int


@dataclass(frozen=True, slots=True)
class BytePattern:
    """A pattern, and how it is looked for."""

    elements: tuple[Element, ...]

    def __len__(self) -> int:
        """How many bytes it takes."""
        return len(self.elements)

    @property
    def regex(self) -> re.Pattern[bytes]:
        """What matches it in bytes."""
        return re.compile(b"".join(map(_class, self.elements)), re.DOTALL)

    @property
    def runs(self) -> tuple[bytes, ...]:
        """Its runs of known bytes, channel 8 blank, that are long enough to be looked up."""
        runs = []
        grouped = groupby(self.elements, key=lambda each: each.mask & _CHANNELS == _CHANNELS)
        for is_known, elements in grouped:
            run = bytes(each.value & _CHANNELS for each in elements)
            if is_known and len(run) >= LENGTHS[0]:
                runs.append(run)
        return tuple(runs)


def of_bytes(data: bytes) -> BytePattern:
    """The pattern that only these very bytes match."""
    return BytePattern(tuple(Element(byte, _ALL) for byte in data))


def read(text: str, base: Base = Base.AUTO) -> BytePattern:
    """The pattern that is written as `text`.

    Hexadecimal bytes have two digits, octal ones three, and `?` stands for any digit; spaces may
    be left out where one base is chosen. Text in quotes stands for its ISO 646 characters,
    whatever their parity. Without a choice, three digits apart are octal.

    Raises:
        Invalid: with the place of what cannot be read.
    """
    elements: list[Element] = []
    tokens, at = _tokens(text), 0
    digits = [token for token, is_text, _ in tokens if not is_text]
    if base is Base.AUTO:
        octal = bool(digits) and all(re.fullmatch(r"[0-7?]{3}", token) for token in digits)
        base = Base.OCTAL if octal else Base.HEX
    for token, is_text, at in tokens:
        elements += _characters(token, at) if is_text else _numbers(token, at, base)
    if not any(each.mask for each in elements):
        raise _refused("No byte of it is given.", 1, "Give at least one byte beside the gaps.")
    if len(elements) > LONGEST:
        raise _refused(
            f"It has {len(elements)} bytes.", 1, f"Give {LONGEST} at most; any part will do."
        )
    return BytePattern(tuple(elements))


def _tokens(text: str) -> list[tuple[str, bool, int]]:
    """The parts of the text, whether each is in quotes, and where it begins (from 0)."""
    tokens, at = [], 0
    text = text.rstrip()
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None:
            raise _refused(
                f"{text[at]} does not belong there.", at + 1, "Close each quote that is opened."
            )
        name = match.lastgroup or ""
        tokens.append((match[name], name != "digits", match.start(name)))
        at = match.end()
    return tokens


def _characters(text: str, at: int) -> list[Element]:
    strange = next((place for place, each in enumerate(text) if not each.isascii()), None)
    if strange is not None:
        raise _refused(
            f"{text[strange]} is no character of ISO 646.",
            at + strange + 1,
            "Write its byte in digits instead.",
        )
    return [Element(ord(each), _CHANNELS) for each in text]


def _numbers(token: str, at: int, base: Base) -> list[Element]:
    size, radix = (2, 16) if base is Base.HEX else (3, 8)
    known = "0123456789abcdefABCDEF?" if base is Base.HEX else "01234567?"
    strange = next((place for place, each in enumerate(token) if each not in known), None)
    if strange is not None:
        raise _refused(
            f"{token[strange]} is no {base} digit.",
            at + strange + 1,
            f"Give {size} digits a byte, ? for any digit, and text in quotes.",
        )
    if len(token) % size:
        raise _refused(
            f"{token} has {len(token)} digits.", at + 1, f"Give {size} {base} digits a byte."
        )
    return [
        _number(token[place : place + size], at + place, radix)
        for place in range(0, len(token), size)
    ]


def _number(digits: str, at: int, radix: int) -> Element:
    value = mask = 0
    for digit in digits:
        value = value * radix + (0 if digit == "?" else int(digit, radix))
        mask = mask * radix + (0 if digit == "?" else radix - 1)
    if value > _ALL:
        raise _refused(f"{digits} is beyond 377.", at + 1, "An octal byte goes from 000 to 377.")
    return Element(value, mask & _ALL)


def _class(element: Element) -> bytes:
    """The regular expression of the bytes that fit an element."""
    if element.mask == _ALL:
        return re.escape(bytes((element.value,)))
    if not element.mask:
        return b"."
    fitting = (byte for byte in range(256) if byte & element.mask == element.value)
    return b"[" + b"".join(b"\\x%02x" % byte for byte in fitting) + b"]"


def _refused(what: str, place: int, mend: str) -> Invalid:
    return Invalid(
        f"The bytes cannot be read: {what}",
        where=f"character {place}",
        mend=mend,
        fields={"bytes": f"character {place}: {what} {mend}"},
    )
