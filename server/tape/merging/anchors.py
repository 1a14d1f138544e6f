"""Anchors: stretches of frames that stand once in each of two readings, and so face each other.

Which stretches are looked at is decided by what they hold, so that two readings choose the same
ones wherever they lie: after a late start, and behind any number of frames lost or doubled.
(S. Schleimer, D. S. Wilkerson and A. Aiken, 'Winnowing', SIGMOD 2003, choose by content likewise.)
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.alignment import rising
from server.tape.image import Frames

Integers = NDArray[np.int64]

STRETCH: Final = 16
"""Frames in a stretch: at three errors in a hundred frames three stretches in five are whole."""

_ALL_UP_TO: Final = 1 << 13
_ONE_IN: Final = 32
_FIRST, _SECOND, _MIXED = (
    np.uint64(each) for each in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0xD6E8FEB86659FD93)
)
_FOURS, _LATER_FOURS = np.uint32(0x9E3779B1), np.uint32(0x85EBCA6B)
_MANY: Final = 1000
_STRAYS: Final = 8
_APART: Final = 160


class Stretches(NamedTuple):
    """Stretches of one reading: `marks` tell them apart, `at` is the first frame of each."""

    marks: NDArray[np.uint64]
    at: Integers

    @property
    def once(self) -> "Stretches":
        """Those that stand there once, in the order of their marks."""
        marks, first, count = np.unique(self.marks, return_index=True, return_counts=True)
        return Stretches(marks[count == 1], self.at[first[count == 1]])


class Lane:
    """The frames of one reading, with its stretches worked out once."""

    def __init__(self, frames: bytes) -> None:
        self.frames = frames
        self._stretches: dict[int, Stretches] = {}

    def __len__(self) -> int:
        return len(self.frames)

    def once(self, one_in: int) -> Stretches:
        """Those of its stretches that stand there once, one in so many looked at."""
        if one_in not in self._stretches:
            self._stretches[one_in] = stretches(self.frames, one_in).once
        return self._stretches[one_in]


def stretches(frames: bytes, one_in: int) -> Stretches:
    """The stretches of `frames` that are looked at, one in so many.

    Those in which most frames repeat the one before are never looked at: a misread frame in the
    leader of one reading would be taken for another in that of the next.
    """
    if len(frames) < STRETCH:
        return Stretches(np.empty(0, np.uint64), np.empty(0, np.int64))
    at = _looked_at(np.frombuffer(frames, np.uint8), one_in)
    inside = np.frombuffer(frames, np.uint8)[at[:, np.newaxis] + np.arange(STRETCH)]
    repeats = np.count_nonzero(inside[:, 1:] == inside[:, :-1], axis=1)
    at, inside = at[repeats < STRETCH // 2], inside[repeats < STRETCH // 2]
    halves = inside.view("<u8")
    marks = halves[:, 0] * _FIRST ^ halves[:, 1] * _SECOND
    marks ^= marks >> np.uint64(29)
    return Stretches(marks * _MIXED, at)


def _looked_at(array: Frames, one_in: int) -> Integers:
    """Where the stretches begin that are looked at, chosen by eight of the frames in each."""
    count = array.size - STRETCH + 1
    if one_in == 1:
        return np.arange(count)
    pairs = array[:-1] | array[1:].astype(np.uint16) << np.uint16(8)
    fours = pairs[:-2] | pairs[2:].astype(np.uint32) << np.uint32(16)
    mixed = fours[:count] * _FOURS
    mixed ^= fours[8 : count + 8] * _LATER_FOURS
    mixed *= _FOURS
    return np.flatnonzero(mixed <= np.uint32(0xFFFFFFFF // one_in))


def sampling(*readings: Lane) -> int:
    """One in how many stretches of these readings is looked at: all of them in a short one."""
    return 1 if min(map(len, readings)) <= _ALL_UP_TO else _ONE_IN


def shared(a: Lane, b: Lane) -> float:
    """The share of stretches that stand in both, of those in the shorter, 0 to 1."""
    one_in = sampling(a, b)
    once_a, once_b = a.once(one_in).marks, b.once(one_in).marks
    least = min(once_a.size, once_b.size)
    return np.intersect1d(once_a, once_b, assume_unique=True).size / least if least else 0.0


def strangers(a: Lane, b: Lane) -> bool:
    """Whether no stretch stands in both, though each has so many that one would.

    Of a thousand stretches, ten are whole in a reading that has one frame in four otherwise.
    """
    for one_in in (sampling(a, b), 1):
        once_a, once_b = a.once(one_in).marks, b.once(one_in).marks
        if min(once_a.size, once_b.size) >= _MANY:
            return not np.intersect1d(once_a, once_b, assume_unique=True).size
    return False


def anchors(a: Lane, b: Lane) -> tuple[Integers, Integers]:
    """Where stretches stand once in both: the first frame of each, rising in both readings."""
    one_in = sampling(a, b)
    once_a, once_b = a.once(one_in), b.once(one_in)
    _, left, right = np.intersect1d(
        once_a.marks, once_b.marks, assume_unique=True, return_indices=True
    )
    order = np.argsort(once_a.at[left])
    at_a, at_b = once_a.at[left][order], once_b.at[right][order]
    if at_b.size > 1 and np.diff(at_b).min() <= 0:
        chosen = rising(at_b.tolist())
        at_a, at_b = at_a[chosen], at_b[chosen]
    return _thinned(*_without_strays(at_a, at_b))


def _thinned(at_a: Integers, at_b: Integers) -> tuple[Integers, Integers]:
    """As many of the anchors as are worth having: some in a row say no more than one."""
    if not at_a.size:
        return at_a, at_b
    moved = np.diff(at_b - at_a, prepend=at_b[0] - at_a[0]) != 0
    moved |= np.diff(at_a // _APART, prepend=-1) != 0
    return at_a[moved], at_b[moved]


def _without_strays(at_a: Integers, at_b: Integers) -> tuple[Integers, Integers]:
    """The anchors but for those far off the line between their neighbours, put there by chance."""
    if at_a.size < 3:
        return at_a, at_b
    off = at_b - at_a
    before, after = off[1:-1] - off[:-2], off[1:-1] - off[2:]
    stray = np.zeros(at_a.size, np.bool_)
    stray[1:-1] = (np.abs(before) > _STRAYS) & (np.abs(after) > _STRAYS)
    stray[1:-1] &= np.abs(off[2:] - off[:-2]) < np.minimum(np.abs(before), np.abs(after))
    return at_a[~stray], at_b[~stray]
