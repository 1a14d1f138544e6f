"""Words that go on from an origin, pair of frames by pair, and a checksum at the end."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from server.tape.dump import Integers
from server.tape.twelve_bit.frames import Booleans, Program
from server.tape.twelve_bit.loads import FIELD_WORDS, Words

_MODULUS: Final = FIELD_WORDS
_COUNTED: Final = 0o177


@dataclass(frozen=True, slots=True)
class Body:
    """A program without its checksum, its frames paired.

    A pair begins at an origin, after a field setting, and after each pair. `firsts` index the
    frames that begin a pair, `lone` those that have no second; `anchors` gives for each frame
    where the pairing that it is in began. `total` is the sum of the frames modulo 10000 octal,
    `checksum` the last pair, None where the last two frames cannot be one.
    """

    size: int
    firsts: Integers
    lone: Integers
    anchors: Integers
    total: int
    checksum: int | None

    @property
    def closes(self) -> bool:
        """Whether the checksum is the sum."""
        return self.checksum == self.total

    @property
    def surplus(self) -> int:
        """What the sum is beyond the checksum, modulo 10000 octal."""
        return (self.total - (self.checksum or 0)) % _MODULUS


def body_of(program: Program) -> Body:
    """`program` as pairs and checksum."""
    has_checksum = len(program) >= 2 and bool(program.data[-2:].all())
    size = len(program) - 2 * has_checksum
    six = program.six[size:]
    origin, field, data = program.origin[:size], program.field[:size], program.data[:size]
    index = np.arange(size)
    anchors = np.maximum.accumulate(np.where(origin, index, np.where(field, index + 1, 0)))
    begins = ((index - anchors) % 2 == 0) & ~field
    paired = begins & np.append(data[1:], False)[:size]
    counted = program.values[:size][~field] & _COUNTED
    return Body(
        size,
        np.flatnonzero(paired),
        np.flatnonzero(begins & ~paired),
        anchors,
        int(counted.sum(dtype=np.int64)) % _MODULUS,
        int(six[0] << 6 | six[1]) if has_checksum else None,
    )


def words_of(program: Program, body: Body) -> tuple[Words, int]:
    """The data words of `program`, and how many of them no origin gives an address."""
    six = program.six
    pairs = body.firsts
    values = six[pairs] << 6 | six[pairs + 1]
    is_origin = program.origin[pairs]
    number = np.arange(pairs.size)
    latest = np.maximum.accumulate(np.where(is_origin, number, -1))
    placed = ~is_origin & (latest >= 0)
    origins = values[latest]
    offsets = (origins + number - latest - 1) % FIELD_WORDS
    words = Words(
        values,
        _fields(program)[pairs] * FIELD_WORDS + offsets,
        program.at[pairs],
        _damaged(program, body, pairs),
    )
    return words.only(placed), int(np.count_nonzero(~is_origin & ~placed))


def _fields(program: Program) -> Integers:
    """The field that is set at each frame."""
    index = np.arange(len(program))
    latest = np.maximum.accumulate(np.where(program.field, index, -1))
    return np.where(latest >= 0, program.values[latest] >> 3 & 0o7, 0).astype(np.int64)


def _damaged(program: Program, body: Body, pairs: Integers) -> Booleans:
    """The pairs with a flawed frame, and those among which a frame is too many or too few."""
    flawed: Booleans = program.flawed[pairs] | program.flawed[pairs + 1]
    if not body.lone.size:
        return flawed
    slipped = np.zeros(body.size + 1, np.bool_)
    slipped[body.anchors[body.lone]] = True
    return flawed | slipped[body.anchors[pairs]]
