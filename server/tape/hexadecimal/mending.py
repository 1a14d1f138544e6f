"""One record that fails: what a single doubtful byte must have been, if only one is in doubt."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.tape.hexadecimal.equations import equations
from server.tape.hexadecimal.records import NIBBLES, NO_DIGIT, Grammar

_DIGITS_IN_BYTE = 2


@dataclass(frozen=True, slots=True)
class Mended:
    """The bytes of a record whose checksum was used up to find the byte at `place`.

    Where that is the length, the characters of the line agree with what the checksum says.
    """

    data: bytes
    place: int


def bytes_of(digits: bytes) -> tuple[bytearray, list[int]]:
    """The bytes that pairs of `digits` spell, and the places of those that cannot be read.

    An unreadable digit counts as 0; a last odd digit is left out.
    """
    digits = digits[: len(digits) & -2]
    nibbles = digits.translate(NIBBLES)
    if NO_DIGIT not in nibbles:
        return bytearray.fromhex(digits.decode("ascii")), []
    data, unread = bytearray(), []
    for place, (high, low) in enumerate(zip(nibbles[::2], nibbles[1::2], strict=True)):
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
    if len(digits) % 2 or digits.translate(NIBBLES).count(NO_DIGIT) > _DIGITS_IN_BYTE:
        return None
    fulfilled = equations(grammar, size)
    if fulfilled is None:
        return None
    data, doubtful = bytes_of(digits)
    length_at = grammar.length_at
    if data[length_at] != grammar.length_of(size) and length_at not in doubtful:
        doubtful.append(length_at)
    if len(doubtful) != 1:
        return None
    place = doubtful[0]
    values = fulfilled.solutions(*_doubtful(data, place))
    agreeing = [each for each in values if place == length_at or _agrees(digits, place, each)]
    if len(agreeing) != 1:
        return None
    data[place] = agreeing[0][0] << 4 | agreeing[0][1]
    return Mended(bytes(data), place)


def _doubtful(data: bytearray, place: int) -> tuple[NDArray[np.int64], slice]:
    """The digits of `data`, those of its byte at `place` left out, and where these stand."""
    pair = slice(2 * place, 2 * place + 2)
    digits = digits_of(bytes(data))
    digits[pair] = 0
    return digits, pair


def digits_of(data: bytes) -> NDArray[np.int64]:
    """The hexadecimal digits of `data`, two a byte."""
    array = np.frombuffer(data, np.uint8)
    return np.stack([array >> 4, array & 15], axis=1).ravel().astype(np.int64)


def checked(line: bytes, grammar: Grammar) -> bytes | None:
    """The bytes of the record that begins `line`, if it is whole and passes its checksum."""
    whole = bytes_as_said(line, grammar)
    return whole if whole and grammar.check.holds(whole) else None


def bytes_as_said(line: bytes, grammar: Grammar) -> bytes | None:
    """As many bytes as the length at the head of `line` calls for, if all can be read."""
    at = grammar.length_at
    data, unread = bytes_of(line[grammar.head : grammar.characters(at + 1)])
    size = grammar.size_of(data[at]) if len(data) > at and not unread else 0
    data, unread = bytes_of(line[grammar.head : grammar.characters(size)])
    return bytes(data) if grammar.least <= size == len(data) and not unread else None


def _agrees(digits: bytes, place: int, value: tuple[int, int]) -> bool:
    read = digits[2 * place : 2 * place + 2].translate(NIBBLES)
    return all(was in (NO_DIGIT, now) for was, now in zip(read, value, strict=True))
