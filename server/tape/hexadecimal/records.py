"""Every record of a text that is whole and passes its checksum, found by array operations."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Bytes, Integers
from server.tape.hexadecimal.checksums import Check

NO_DIGIT: Final = 0xFF
NIBBLES: Final = bytes(
    int(chr(byte), 16) if chr(byte) in "0123456789ABCDEFabcdef" else NO_DIGIT for byte in range(256)
)
"""What each character is worth as a hexadecimal digit; `NO_DIGIT` where it is none."""

_HEADER_DIGITS = 8
_HEADER_READABLE = 6


@dataclass(frozen=True, slots=True)
class Grammar:
    """How a record of a format is written.

    A record is `mark`, further characters up to `head`, then bytes of two digits each, which
    `check` checks. The byte at `length_at` is a length: the record has as many bytes as it
    says and `beyond` more, `saved` fewer of these if it is 0, and never fewer than `least`. The
    address, from byte `address_at` on, has two bytes unless `wide` gives another number for the
    type in the head. A line that begins with `abort` breaks the tape off; the control
    characters `closing` may follow the last record.
    """

    mark: bytes
    head: int
    check: Check
    beyond: int
    least: int
    length_at: int = 0
    address_at: int = 1
    saved: int = 0
    wide: Mapping[int, int] = field(default_factory=dict, hash=False)
    abort: bytes = b""
    closing: bytes = b""

    def width(self, kind: int) -> int:
        """How many bytes the address of a record of type `kind` has."""
        return self.wide.get(kind, 2)

    def characters(self, size: int) -> int:
        """How many characters a record of `size` bytes has."""
        return self.head + 2 * size

    def size_of(self, length: int) -> int:
        """How many bytes a record has whose length is said to be `length`."""
        return length + self.beyond - (self.saved if length == 0 else 0)

    def length_of(self, size: int) -> int:
        """The length that a record of `size` bytes gives, if there can be one."""
        return 0 if size == self.size_of(0) else size - self.beyond


@dataclass(frozen=True, slots=True)
class Records:
    """Records in the order of the tape, their bytes one after the other in `raw`.

    `starts` and `stops` bound the characters of each; `at` says where in `raw` its first
    byte, the length, lies; `sizes` how many bytes it has; `kinds` the type, where the
    head of the record says it; `sound` whether it was read whole and passes its checksum.
    """

    starts: Integers
    stops: Integers
    kinds: Bytes
    raw: Bytes
    at: Integers
    sizes: Integers
    sound: NDArray[np.bool_]

    def __len__(self) -> int:
        return self.starts.size

    def byte(self, place: int) -> Bytes:
        """The byte at `place` in each record; each has at least `Grammar.least`."""
        return self.raw[self.at + place]

    def data(self, record: int) -> bytes:
        """The bytes of one record, length and checksum included."""
        at = int(self.at[record])
        return self.raw[at : at + int(self.sizes[record])].tobytes()

    def number(self, first: Integers | int, width: Integers | int) -> Integers:
        """The big-endian number of `width` (1 to 4) bytes from byte `first` of each record."""
        value = np.zeros(len(self), np.int64)
        last = self.raw.size - 1
        for place in range(int(np.max(width, initial=0))):
            byte = self.raw[np.minimum(self.at + first + place, last)]
            value = np.where(place < np.asarray(width), value << 8 | byte, value)
        return value


@dataclass(frozen=True, slots=True)
class Scan:
    """The sound records of a text, and where others begin.

    Of the `suspects`, `failing` are just as long as they say, and fail by their checksum.
    """

    records: Records
    suspects: Integers
    failing: int


def scan(text: bytes, grammar: Grammar) -> Scan:
    """The records that `text` holds; linear in its length, whatever it holds."""
    # Digits beyond the end read as none, so that no index below needs a bound of its own.
    padded = text + bytes(grammar.characters(_HEADER_DIGITS))
    nibbles = np.frombuffer(padded.translate(NIBBLES), np.uint8)
    starts, runs = _marks(padded, nibbles, grammar)
    pairs = nibbles[:-1] << np.uint8(4) | nibbles[1:]
    lengths = pairs[starts + grammar.characters(grammar.length_at)].astype(np.int64)
    sizes = lengths + grammar.beyond - grammar.saved * (lengths == 0)
    due = grammar.characters(0) - 1 + 2 * sizes
    fits = (runs >= due) & (sizes >= grammar.least)
    records = _read(pairs, nibbles, starts[fits], sizes[fits], grammar)
    if fits.all() and records.sound.all():
        return Scan(records, np.empty(0, np.int64), 0)
    unfit = starts[~fits]
    failing = ~records.sound
    suspects = np.concatenate([unfit[_readable(nibbles, unfit)], records.starts[failing]])
    exact = int(np.count_nonzero(failing & (runs == due)[fits]))
    return Scan(_only(records, records.sound), np.sort(suspects), exact)


def joined(records: Records, others: list[tuple[int, int, int, bytes]]) -> Records:
    """`records` and `others`, each (start, stop, kind, bytes) and not sound, in tape order."""
    if not others:
        return records
    starts, stops, kinds, data = zip(*others, strict=True)
    sizes = np.array([len(each) for each in data], np.int64)
    added = Records(
        np.array(starts, np.int64),
        np.array(stops, np.int64),
        np.array(kinds, np.uint8),
        np.frombuffer(b"".join(data), np.uint8),
        np.cumsum(sizes) - sizes + records.raw.size,
        sizes,
        np.zeros(sizes.size, np.bool_),
    )
    names = ("starts", "stops", "kinds", "raw", "at", "sizes", "sound")
    both = Records(*(np.concatenate([getattr(records, n), getattr(added, n)]) for n in names))
    return _only(both, np.argsort(both.starts, kind="stable"))


def _marks(text: bytes, nibbles: Bytes, grammar: Grammar) -> tuple[Integers, Integers]:
    """Where records may begin, and how many digits follow the mark of each."""
    breaks = np.flatnonzero(nibbles == NO_DIGIT)
    characters = np.frombuffer(text, np.uint8)
    marked = np.flatnonzero(characters[breaks] == grammar.mark[0])
    starts = breaks[marked]
    runs = breaks[marked + 1] - starts - 1
    if grammar.head > 1:
        typed = nibbles[starts + 1] < 10
        starts, runs = starts[typed], runs[typed]
    return starts, runs


def _readable(nibbles: Bytes, starts: Integers) -> NDArray[np.bool_]:
    """Whether enough digits follow each mark that a record, and no mere text, began there."""
    readable = np.zeros(starts.size, np.uint8)
    for place in range(1, _HEADER_DIGITS + 1):
        readable += nibbles[starts + place] != NO_DIGIT
    return readable >= _HEADER_READABLE


def _read(
    pairs: Bytes, nibbles: Bytes, starts: Integers, sizes: Integers, grammar: Grammar
) -> Records:
    at = np.cumsum(sizes) - sizes
    where = np.repeat(starts + grammar.head - 2 * at, sizes)
    where += np.arange(0, 2 * where.size, 2)
    raw = pairs[where]
    sound = grammar.check.passing(raw, at, sizes) if at.size else np.empty(0, np.bool_)
    kinds = nibbles[starts + 1]
    stops = starts + grammar.head + 2 * sizes
    return Records(starts, stops, kinds, raw, at, sizes, sound)


def _only(records: Records, which: NDArray[np.bool_] | NDArray[np.intp]) -> Records:
    return Records(
        records.starts[which],
        records.stops[which],
        records.kinds[which],
        records.raw,
        records.at[which],
        records.sizes[which],
        records.sound[which],
    )
