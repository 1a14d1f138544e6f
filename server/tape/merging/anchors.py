"""Anchors: stretches of frames that stand once in each of two readings, and so face each other.

Which stretches are looked at is decided by what they hold, so that two readings choose the same
ones wherever they lie: after a late start, and behind any number of frames lost or doubled.
(S. Schleimer, D. S. Wilkerson and A. Aiken, 'Winnowing', SIGMOD 2003, choose by content likewise.)
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.alignment import rising

Integers = NDArray[np.int64]

STRETCH: Final = 16
"""Frames in a stretch: at three errors in a hundred frames three stretches in five are whole."""

_ALL_UP_TO: Final = 1 << 13
_ONE_IN: Final = 32
_FIRST, _SECOND, _MIXED = (
    np.uint64(each) for each in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0xD6E8FEB86659FD93)
)
_ALL: Final = (1 << 64) - 1
_STRAYS: Final = 8
_APART: Final = 48


class Stretches(NamedTuple):
    """Stretches of one reading: `marks` tell them apart, `at` is the first frame of each."""

    marks: NDArray[np.uint64]
    at: Integers

    @property
    def once(self) -> "Stretches":
        """Those that stand there once, in the order of their marks."""
        marks, first, count = np.unique(self.marks, return_index=True, return_counts=True)
        return Stretches(marks[count == 1], self.at[first[count == 1]])


def stretches(frames: bytes, one_in: int) -> Stretches:
    """The stretches of `frames` that are looked at, one in so many.

    Those in which most frames repeat the one before are never looked at: a misread frame in the
    leader of one reading would be taken for another in that of the next.
    """
    count = len(frames) - STRETCH + 1
    if count <= 0:
        return Stretches(np.empty(0, np.uint64), np.empty(0, np.int64))
    words = np.ndarray(count + 8, "<u8", frames, strides=(1,))
    marks = words[:count] * _FIRST
    marks ^= words[8:] * _SECOND
    marks ^= marks >> np.uint64(29)
    marks *= _MIXED
    at = np.flatnonzero(marks <= np.uint64(_ALL // one_in))
    array = np.frombuffer(frames, np.uint8)
    repeats = np.append(0, np.cumsum(array[1:] == array[:-1], dtype=np.int32))
    at = at[repeats[at + STRETCH - 1] - repeats[at] < STRETCH // 2]
    return Stretches(marks[at], at)


def sampling(*readings: bytes) -> int:
    """One in how many stretches of these readings is looked at: all of them in a short one."""
    return 1 if min(map(len, readings)) <= _ALL_UP_TO else _ONE_IN


def anchors(a: bytes, b: bytes) -> tuple[Integers, Integers]:
    """Where stretches stand once in both: the first frame of each, rising in both readings."""
    one_in = sampling(a, b)
    once_a, once_b = stretches(a, one_in).once, stretches(b, one_in).once
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
