"""Words that go on from an origin, pair of frames by pair, and a checksum at the end."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Integers
from server.tape.image import Frames
from server.tape.twelve_bit.frames import Booleans, Program
from server.tape.twelve_bit.loads import FIELD_WORDS, Words

_MODULUS: Final = FIELD_WORDS
_COUNTED: Final = 0o177
_LOW_SIX: Final = np.uint8(0o077)

Narrow = NDArray[np.int32]
"""Places in a program: no upload has as many frames as these could count."""


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
    anchors: Narrow
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
    values = program.values[:size]
    origin, field, data = program.origin[:size], program.field[:size], program.data[:size]
    anchors = _anchors(origin, field)
    begins = ((np.arange(size, dtype=np.int32) ^ anchors) & 1 == 0) & ~field
    paired = begins & np.append(data[1:], False)[:size]
    # Frames that are not counted are few or none, and a mask of all would cost more than the sum.
    total = _sum(values) - _sum(values[np.flatnonzero(field)])
    six = program.values[size:] & _LOW_SIX
    return Body(
        size,
        np.flatnonzero(paired),
        np.flatnonzero(begins & ~paired),
        anchors,
        total % _MODULUS,
        int(six[0]) << 6 | int(six[1]) if has_checksum else None,
    )


def _anchors(origin: Booleans, field: Booleans) -> Narrow:
    """Where the pairing that each frame is in began."""
    marks = np.flatnonzero(origin | field).astype(np.int32)
    begun = marks + field[marks]
    first = np.append(np.int32(0), begun)
    return np.repeat(first, np.diff(marks, prepend=0, append=origin.size))


def _sum(frames: Frames) -> int:
    return int((frames & _COUNTED).sum(dtype=np.int64))


def words_of(program: Program, body: Body) -> tuple[Words, int]:
    """The data words of `program`, and how many of them no origin gives an address."""
    six = program.values & _LOW_SIX
    is_origin = program.origin[body.firsts]
    origins = np.flatnonzero(is_origin)
    unplaced = int(origins[0]) if origins.size else body.firsts.size
    # From here on there are only words, each behind an origin.
    placed = np.flatnonzero(~is_origin)[unplaced:]
    pairs = body.firsts[placed]
    lengths = np.diff(origins, append=is_origin.size) - 1
    begins = _value(six, body.firsts[origins]) - origins - 1
    offsets = (np.repeat(begins, lengths) + placed) % FIELD_WORDS
    words = Words(
        _value(six, pairs),
        _fields(program)[pairs].astype(np.int64) * FIELD_WORDS + offsets,
        program.at[pairs],
        _damaged(program, body, pairs),
    )
    return words, unplaced


def _value(six: Frames, pairs: Integers) -> Integers:
    """The words whose first frames are `pairs`, of which `six` gives the six bits of each."""
    return six[pairs].astype(np.int64) << 6 | six[pairs + 1]


def _fields(program: Program) -> Frames:
    """The field that is set at each frame."""
    settings = np.flatnonzero(program.field)
    fields = np.append(np.uint8(0), program.values[settings] >> 3 & 0o7)
    return np.repeat(fields, np.diff(settings, prepend=0, append=len(program)))


def _damaged(program: Program, body: Body, pairs: Integers) -> Booleans:
    """The pairs with a flawed frame, and those among which a frame is too many or too few."""
    flawed: Booleans = program.flawed[pairs] | program.flawed[pairs + 1]
    if not body.lone.size:
        return flawed
    slipped = np.zeros(body.size + 1, np.bool_)
    slipped[body.anchors[body.lone]] = True
    return flawed | slipped[body.anchors[pairs]]
