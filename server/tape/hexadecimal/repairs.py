"""What may have stood on the tape where a record fails: offered to the person, never applied."""

from collections.abc import Iterator, Sequence
from itertools import product
from typing import Final, NamedTuple

import numpy as np

from server.tape.dump import Integers
from server.tape.hexadecimal.equations import Equations, Slip, equations
from server.tape.hexadecimal.mending import bytes_as_said, digits_of
from server.tape.hexadecimal.records import NIBBLES, NO_DIGIT, Grammar

MOST_OFFERED: Final = 4
"""How many ways are told; a person who reads the frames again has no use for more."""

_MOST_BROKEN = 3
"""Frames with broken parity beyond which one hole in each explains anything."""

_CHANNELS = 7
_DIGITS = b"0123456789ABCDEF"


class Broken(NamedTuple):
    """Which characters of a record break parity, and whether parity tells of any one hole."""

    errors: Sequence[int]
    tells: bool


def repairs(line: bytes, broken: Broken, grammar: Grammar) -> str:
    """The end of an advice: which changes of single holes make the record `line` right.

    Where parity tells of every single wrong hole, each change is one hole in each character
    that breaks it; elsewhere it is any one hole. `line` is whole and fails its checksum.
    """
    data = bytes_as_said(line, grammar) or b""
    fulfilled = equations(grammar, len(data))
    if fulfilled is None:
        return ""
    digits = digits_of(data)
    if not broken.tells:
        found = [(each,) for each in _single_holes(line, digits, fulfilled, grammar)]
        return _offered("the checksum is right", found, digits, grammar)
    if not broken.errors:
        return "; parity holds throughout, so two holes at least are wrong"
    if len(broken.errors) > _MOST_BROKEN:
        return ""
    ways = _by_parity(line, broken.errors, fulfilled, digits, grammar)
    return _offered("parity and checksum are both right", list(ways), digits, grammar)


def _single_holes(
    line: bytes, digits: Integers, fulfilled: Equations, grammar: Grammar
) -> list[Slip]:
    return [
        each
        for each in fulfilled.changes(digits)
        if (line[grammar.head + each.place] ^ _DIGITS[each.digit]).bit_count() == 1
    ]


def _by_parity(
    line: bytes, errors: Sequence[int], fulfilled: Equations, digits: Integers, grammar: Grammar
) -> Iterator[tuple[Slip, ...]]:
    """Every choice of one hole in each of the characters `errors` that makes all right."""
    places = [at - grammar.head for at in errors if at >= grammar.head]
    choices = [_one_hole(line[grammar.head + place]) for place in places]
    lacking = fulfilled.lacking(digits)
    for values in product(*choices):
        gained = fulfilled.weights[:, places] @ (np.array(values, np.int64) - digits[places])
        if np.all((gained - lacking) % fulfilled.modulus == 0):
            pairs = zip(places, values, strict=True)
            yield tuple(Slip(place, value) for place, value in pairs if digits[place] != value)


def _one_hole(character: int) -> list[int]:
    """The digits that `character` may have been: itself, if its parity hole is the wrong one."""
    values = [NIBBLES[character], *(NIBBLES[character ^ 1 << bit] for bit in range(_CHANNELS))]
    return [value for value in dict.fromkeys(values) if value != NO_DIGIT]


def _offered(what: str, ways: Sequence[Sequence[Slip]], digits: Integers, grammar: Grammar) -> str:
    if not ways:
        return "; no change of one hole there makes the checksum right"
    shown = " or ".join(_way(way, digits, grammar) for way in ways[:MOST_OFFERED])
    return f"; {what} if {shown}{_more(len(ways))}"


def _way(way: Sequence[Slip], digits: Integers, grammar: Grammar) -> str:
    changed = digits.copy()
    changed[[each.place for each in way]] = [each.digit for each in way]
    return " and ".join(
        f"character {_number(each, grammar)} is '{each.digit:X}', its byte "
        f"{changed[each.place & -2]:X}{changed[each.place | 1]:X}"
        for each in way
    )


def _number(slip: Slip, grammar: Grammar) -> int:
    """Which character of the record, counted from 1."""
    return grammar.head + slip.place + 1


def _more(ways: int) -> str:
    return f", or in {ways - MOST_OFFERED} more ways" if ways > MOST_OFFERED else ""


class Slipped(NamedTuple):
    """A record with one character too few or too many: what happened, and what to look for."""

    kind: str
    what: str
    advice: str


def slipped(line: bytes, grammar: Grammar) -> Slipped | None:
    """Whether `line` would be a whole and sound record with one digit more, or with one less.

    One less only where two digits that follow each other are the same: a frame read twice.
    """
    read = line[grammar.head :].translate(NIBBLES)
    if len(read) % 2 == 0 or NO_DIGIT in read:
        return None
    digits = np.frombuffer(read, np.uint8).astype(np.int64)
    longer, shorter = (equations(grammar, len(read) // 2 + more) for more in (1, 0))
    dropped = longer.insertions(digits) if longer else []
    doubled = shorter.doublings(digits) if shorter else []
    # Where the length stands as it should, it says which of the two it was.
    for trusted in (True, False):
        first = 2 * grammar.length_at + 2 if trusted else 0
        for slips, tell in ((dropped, _dropped), (doubled, _doubled)):
            likely = [each for each in slips if each.place >= first]
            if likely:
                return tell(likely, grammar)
    return None


def _dropped(slips: Sequence[Slip], grammar: Grammar) -> Slipped:
    return Slipped(
        "frame-dropped",
        "is one digit short: the reader seems to have passed over a frame",
        _put_right(slips, grammar, "{digit!r} is put in before character {at}"),
    )


def _doubled(slips: Sequence[Slip], grammar: Grammar) -> Slipped:
    return Slipped(
        "frame-doubled",
        "is one digit long: the reader seems to have read a frame twice",
        _put_right(slips, grammar, "the {digit!r} at character {at} is left out"),
    )


def _put_right(slips: Sequence[Slip], grammar: Grammar, how: str) -> str:
    shown = " or ".join(
        how.format(digit=f"{each.digit:X}", at=_number(each, grammar))
        for each in slips[:MOST_OFFERED]
    )
    return f"the checksum is right if {shown}{_more(len(slips))}"
