"""Of alignments that cost as many changes, or nearly, the one that a misread tape explains best.

Edit distance holds any two frames that differ to be one change. A reader that fails has mostly
one channel wrong, and loses a frame or reads it twice about as often: two frames in a row wrong in
several channels are likelier one frame lost and another read twice soon after. Where such frames
stand close to each other, the few frames about them are aligned anew by how likely that is.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

_CHANNEL: Final = 7.0
_SHIFT: Final = 7.5
"""What a wrong channel and a shift by a frame weigh: about the logarithms of one in 1,000 and one
in 2,000. What matters is that two shifts weigh more than one frame wrong, whatever its channels."""

_FRAME: Final = 2 * _CHANNEL
_CLOSE: Final = 6
_WIDEST: Final = 64
_WEIGHTS: Final = tuple(min(_CHANNEL * byte.bit_count(), _FRAME) for byte in range(256))


class Change(NamedTuple):
    """Frames `left` to `left_end` of one reading that turned into `right` to `right_end`."""

    left: int
    left_end: int
    right: int
    right_end: int

    @property
    def shifts(self) -> bool:
        """Whether frames are missing or added, and not only other."""
        return self.left_end - self.left != self.right_end - self.right


def likelier(base: bytes, other: bytes, changes: Iterable[Change]) -> Iterator[Change]:
    """The `changes`, in order, which turn `base` into `other`; those close together made likelier.

    Only those are given that shift what follows.
    """
    for near in _clusters(changes):
        if len(near) > 1 and _doubtful(base, other, near):
            yield from _anew(base, other, near)
        else:
            yield from (each for each in near if each.shifts)


def _clusters(changes: Iterable[Change]) -> Iterator[list[Change]]:
    near: list[Change] = []
    for each in changes:
        if near and each.left - near[-1].left_end > _CLOSE:
            yield near
            near = []
        near.append(each)
    if near:
        yield near


def _doubtful(base: bytes, other: bytes, near: Sequence[Change]) -> bool:
    """Whether a frame among them is wrong in several channels; not in too wide a stretch."""
    widest = max(near[-1].left_end - near[0].left, near[-1].right_end - near[0].right)
    return widest <= _WIDEST and any(
        _WEIGHTS[base[left] ^ other[right]] > _CHANNEL
        for each in near
        if not each.shifts
        for left, right in zip(
            range(each.left, each.left_end), range(each.right, each.right_end), strict=True
        )
    )


def _anew(base: bytes, other: bytes, near: Sequence[Change]) -> Iterator[Change]:
    """The shifts of the likeliest alignment of the stretch that the changes reach over."""
    left, right = near[0].left, near[0].right
    a, b = base[left : near[-1].left_end], other[right : near[-1].right_end]
    weights = _weights(a, b)
    i, j = len(a), len(b)
    found = []
    while i or j:
        here = weights[i][j]
        if i and j and here == weights[i - 1][j - 1] + _WEIGHTS[a[i - 1] ^ b[j - 1]]:
            i, j = i - 1, j - 1
        elif i and here == weights[i - 1][j] + _SHIFT:
            found.append(Change(left + i - 1, left + i, right + j, right + j))
            i -= 1
        else:
            found.append(Change(left + i, left + i, right + j - 1, right + j))
            j -= 1
    yield from reversed(found)


def _weights(a: bytes, b: bytes) -> list[list[float]]:
    """For each start of `a` and each of `b`: what the likeliest alignment of the two weighs."""
    rows = [[_SHIFT * j for j in range(len(b) + 1)]]
    for i, frame in enumerate(a, 1):
        above, row = rows[-1], [_SHIFT * i]
        for j, other in enumerate(b, 1):
            shifted = min(above[j], row[-1]) + _SHIFT
            row.append(min(above[j - 1] + _WEIGHTS[frame ^ other], shifted))
        rows.append(row)
    return rows
