"""One record that fails: what a single doubtful byte must have been, if only one is in doubt."""

from dataclasses import dataclass
from typing import Final

from server.tape.hexadecimal.records import NIBBLES, NO_DIGIT, Grammar

LONGEST_LENGTH: Final = 0xFF
"""A length is one byte."""

_DIGITS_IN_BYTE = 2


@dataclass(frozen=True, slots=True)
class Mended:
    """The bytes of a record whose checksum was used up to find the byte at `place`.

    `place` 0 is the length: the characters of the line agree with what the checksum says.
    """

    data: bytes
    place: int


def bytes_of(digits: bytes) -> tuple[bytearray, list[int]]:
    """The bytes that pairs of `digits` spell, and the places of those that cannot be read.

    An unreadable digit counts as 0; a last odd digit is left out.
    """
    nibbles = digits.translate(NIBBLES)
    data, unread = bytearray(), []
    for place, (high, low) in enumerate(zip(nibbles[::2], nibbles[1::2], strict=False)):
        if NO_DIGIT in (high, low):
            unread.append(place)
        data.append((high & 0x0F if high < 16 else 0) << 4 | (low if low < 16 else 0))
    return data, unread


def mend(line: bytes, grammar: Grammar) -> Mended | None:
    """The record on `line` (mark included), if one byte at most is in doubt, else None.

    In doubt is a byte with an unreadable digit, and a length that the line does not have.
    The checksum says what the byte must be; a digit of it that is readable must agree.
    """
    digits = line[grammar.head :]
    size = len(digits) // 2
    length = size - grammar.beyond
    if len(digits) % 2 or size < grammar.least or length > LONGEST_LENGTH:
        return None
    if digits.translate(NIBBLES).count(NO_DIGIT) > _DIGITS_IN_BYTE:
        return None
    data, doubtful = bytes_of(digits)
    if data[0] != length and 0 not in doubtful:
        doubtful.append(0)
    if len(doubtful) != 1:
        return None
    place = doubtful[0]
    data[place] = 0
    data[place] = grammar.total - sum(data) & 0xFF
    agrees = data[0] == length and (place == 0 or _agrees(digits, place, data[place]))
    return Mended(bytes(data), place) if agrees else None


def checked(line: bytes, grammar: Grammar) -> bytes | None:
    """The bytes of the record that begins `line`, if it is whole and passes its checksum."""
    whole = bytes_as_said(line, grammar)
    return whole if whole and sum(whole) & 0xFF == grammar.total else None


def bytes_as_said(line: bytes, grammar: Grammar) -> bytes | None:
    """As many bytes as the length at the head of `line` calls for, if all can be read."""
    data, unread = bytes_of(line[grammar.head : grammar.head + 2])
    size = data[0] + grammar.beyond if data and not unread else 0
    data, unread = bytes_of(line[grammar.head : grammar.characters(size)])
    return bytes(data) if grammar.least <= size == len(data) and not unread else None


def _agrees(digits: bytes, place: int, value: int) -> bool:
    read = digits[2 * place : 2 * place + 2].translate(NIBBLES)
    return all(was in (NO_DIGIT, now) for was, now in zip(read, divmod(value, 16), strict=True))
