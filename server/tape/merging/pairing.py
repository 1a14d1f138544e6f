"""One reading laid on another: which frame of the one is which of the other, and what is left.

Between anchors, runs that are equal are jumped over; what is left between them is aligned exactly
(V. I. Levenshtein's distance: a frame put in, left out or other costs one). Where several frames
may be the one that is missing or added, because their neighbours are equal, it is always the
first, so that readings which lost the same frame agree on its place.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Hamming, Levenshtein, Postfix

from server.tape.merging.anchors import Lane, anchors

AFFORDABLE: Final = 2_000_000_000
"""Length times distance up to which a gap between anchors is aligned exactly, in 0.2 s at most."""

_FEW: Final = 2
"""So many frames that differ, at most, in runs of one length: no shift explains them better."""
_SLACK: Final = 16
_LOOK_BACK: Final = 256


class Indel(NamedTuple):
    """Frames `left` to `left_end` of one reading that face `right` to `right_end` of the other.

    One of the two is empty: the frames are missing in the other.
    """

    left: int
    left_end: int
    right: int
    right_end: int


@dataclass(
    frozen=True,
)
class Pairing:
    """How `other` lies on `base`, frame by frame.

    `other` begins with frame `begins` of `base` and ends before `ends`; its first `before` frames
    and those from `after` on lie outside of `base`. `indels` are in order.
    """

    base: bytes
    other: bytes
    begins: int
    ends: int
    before: int
    after: int
    indels: tuple[Indel, ...]

    @cached_property
    def missing(self) -> NDArray[np.bool_]:
        """Which frames of `base`, from `begins` to `ends`, `other` has not."""
        missing = np.zeros(self.ends - self.begins, np.bool_)
        for each in self.indels:
            missing[each.left - self.begins : each.left_end - self.begins] = True
        return missing

    @cached_property
    def at(self) -> NDArray[np.int32]:
        """For each frame of `base` from `begins` to `ends`: that of `other`.

        Where it is missing, the one that follows it.
        """
        bounds = [self.begins, *(each.left for each in self.indels), self.ends]
        steps = [self.before - self.begins]
        steps += [each.right_end - each.left_end for each in self.indels]
        at = np.arange(self.begins, self.ends, dtype=np.int32)
        at += np.repeat(np.array(steps, np.int32), np.diff(bounds))
        for each in self.indels:
            at[each.left - self.begins : each.left_end - self.begins] = each.right
        return at

    @cached_property
    def flipped(self) -> NDArray[np.intp]:
        """The frames of `base` that `other` has with another value."""
        base = np.frombuffer(self.base, np.uint8)[self.begins : self.ends]
        other = np.frombuffer(self.other, np.uint8)[np.minimum(self.at, len(self.other) - 1)]
        return np.flatnonzero((base != other) & ~self.missing) + self.begins

    @property
    def cost(self) -> int:
        """How many frames are other, missing or added where both readings reach."""
        sizes = (each.left_end - each.left + each.right_end - each.right for each in self.indels)
        return int(self.flipped.size) + sum(sizes)

    @property
    def likeness(self) -> float:
        """The share of frames that are equal where both readings reach, 0 to 1."""
        length = max(self.ends - self.begins, self.after - self.before)
        return max(0.0, 1 - self.cost / length) if length else 0.0


def pair(base_lane: Lane, other_lane: Lane) -> Pairing:
    """How one reading lies on the other; neither is empty."""
    base, other = base_lane.frames, other_lane.frames
    if base == other:
        return Pairing(base, other, 0, len(base), 0, len(other), ())
    at, other_at = (each.tolist() for each in anchors(base_lane, other_lane))
    edges = _edges(base, other, at, other_at)
    bounds = [edges.left, *at, edges.left_end], [edges.right, *other_at, edges.right_end]
    indels: list[Indel] = []
    for (left, right), (left_end, right_end) in pairwise(zip(*bounds, strict=True)):
        if base[left:left_end] != other[right:right_end]:
            indels += _within(base, other, Indel(left, left_end, right, right_end))
    return _trimmed(base, other, edges, _first_possible(base, other, edges, indels))


def _edges(base: bytes, other: bytes, at: list[int], other_at: list[int]) -> Indel:
    """The part of each reading that may face the other, for one may begin or end beyond it."""
    if not at:
        return Indel(0, len(base), 0, len(other))
    head, other_head = _facing(at[0], other_at[0])
    tail, other_tail = _facing(len(base) - at[-1], len(other) - other_at[-1])
    return Indel(at[0] - head, at[-1] + tail, other_at[0] - other_head, other_at[-1] + other_tail)


def _facing(one: int, other: int) -> tuple[int, int]:
    """How many frames beyond the outermost anchor are compared, of so many on either side."""
    shorter = min(one, other)
    most = shorter + shorter // 8 + _SLACK
    return min(one, most), min(other, most)


def _within(base: bytes, other: bytes, gap: Indel) -> Iterator[Indel]:
    """Where frames are missing or added in `gap`, of which both sides may hold frames."""
    a, b = base[gap.left : gap.left_end], other[gap.right : gap.right_end]
    if len(a) == len(b) and Hamming.distance(a, b) <= _FEW:
        return
    if not a or not b:
        yield gap
        return
    apart = abs(len(a) - len(b))
    hint, most = apart + _SLACK, AFFORDABLE // max(len(a), len(b))
    if most < max(len(a), len(b)):
        hint = Levenshtein.distance(a, b, score_cutoff=most, score_hint=hint)
        if hint > most:
            yield from _hopeless(gap)
            return
    for each in Levenshtein.opcodes(a, b, score_hint=hint):
        if each.tag in {"delete", "insert"}:
            yield Indel(
                gap.left + each.src_start,
                gap.left + each.src_end,
                gap.right + each.dest_start,
                gap.right + each.dest_end,
            )


def _hopeless(gap: Indel) -> Iterator[Indel]:
    """A gap too wide and too unlike for the work: frame faces frame, the rest is left over."""
    shorter = min(gap.left_end - gap.left, gap.right_end - gap.right)
    left, right = gap.left + shorter, gap.right + shorter
    if left < gap.left_end or right < gap.right_end:
        yield Indel(left, gap.left_end, right, gap.right_end)


def _first_possible(base: bytes, other: bytes, edges: Indel, indels: list[Indel]) -> list[Indel]:
    """The same indels, each moved to the first place where it explains as much."""
    left, right = edges.left, edges.right
    moved: list[Indel] = []
    for each in indels:
        room = min(each.left - left, each.right - right)
        by = _backwards(base, other, each, room) if room else 0
        moved.append(Indel(*(place - by for place in each)))
        left, right = moved[-1].left_end, moved[-1].right_end
    return moved


def _backwards(base: bytes, other: bytes, indel: Indel, room: int) -> int:
    """How far `indel` can be moved towards the start, at most `room`."""
    left, left_end, right, right_end = indel
    by = 0
    while by < room:
        step = min(_LOOK_BACK, room - by)
        faced = base[left - by - step : left - by]
        at_end = base[left_end - by - step : left_end - by]
        other_end = other[right_end - by - step : right_end - by]
        same = min(
            Postfix.similarity(faced, other[right - by - step : right - by]),
            Postfix.similarity(at_end, other_end),
        )
        by += same
        if same < step:
            break
    return by


def _trimmed(base: bytes, other: bytes, edges: Indel, indels: list[Indel]) -> Pairing:
    """The pairing without indels at its ends: there a reading begins or ends beyond the other."""
    left, left_end, right, right_end = edges
    while indels and (indels[0].left, indels[0].right) == (left, right):
        left, right = indels[0].left_end, indels[0].right_end
        del indels[0]
    while indels and _reaches(base, other, indels[-1], Indel(left, left_end, right, right_end)):
        last = indels.pop()
        left_end -= last.left_end - last.left
        right_end -= last.right_end - last.right
    return Pairing(base, other, left, left_end, right, right_end, tuple(indels))


def _reaches(base: bytes, other: bytes, indel: Indel, edges: Indel) -> bool:
    """Whether `indel`, the last, can be moved to the very end: frames from there on are equal."""
    behind = base[
        indel.left : indel.left
        + min(edges.left_end - indel.left_end, edges.right_end - indel.right_end)
    ]
    return other.startswith(behind, indel.right)
