"""One reading laid on another: which frame of the one is which of the other, and what is left.

Between anchors, runs that are equal are jumped over; what is left between them is aligned exactly
(V. I. Levenshtein's distance: a frame put in, left out or other costs one), and of ways that cost
as much the likelier is taken (see `likelier`). Where several frames may be the one that is
missing or added, because their neighbours are equal, it is always the first, so that readings
which lost the same frame agree on its place.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Hamming, Levenshtein, Postfix

from server.tape.edit_distance import edits
from server.tape.merging.anchors import Lane, anchors
from server.tape.merging.likelier import Change, likelier

AFFORDABLE: Final = 2_000_000_000
"""Length times distance up to which a gap between anchors is aligned exactly, in 0.2 s at most."""

_FEW: Final = 2
"""So many frames that differ, at most, in runs of one length: no shift explains them better."""
_SLACK: Final = 16
_LOOK_BACK: Final = 256


@dataclass(frozen=True)
class Pairing:
    """How `other` lies on `base`, frame by frame.

    `other` begins with frame `begins` of `base` and ends before `ends`; its first `before` frames
    and those from `after` on lie outside of `base`. `indels` are the frames missing or added, in
    order: one side of each is empty.
    """

    base: bytes
    other: bytes
    begins: int
    ends: int
    before: int
    after: int
    indels: tuple[Change, ...]

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
    indels: list[Change] = []
    for (left, right), (left_end, right_end) in pairwise(zip(*bounds, strict=True)):
        if base[left:left_end] != other[right:right_end]:
            indels += _within(base, other, Change(left, left_end, right, right_end))
    return _trimmed(base, other, edges, _first_possible(base, other, edges, indels))


def _edges(base: bytes, other: bytes, at: list[int], other_at: list[int]) -> Change:
    """The part of each reading that may face the other, for one may begin or end beyond it."""
    if not at:
        return Change(0, len(base), 0, len(other))
    head, other_head = _facing(at[0], other_at[0])
    tail, other_tail = _facing(len(base) - at[-1], len(other) - other_at[-1])
    return Change(at[0] - head, at[-1] + tail, other_at[0] - other_head, other_at[-1] + other_tail)


def _facing(one: int, other: int) -> tuple[int, int]:
    """How many frames beyond the outermost anchor are compared, of so many on either side."""
    shorter = min(one, other)
    most = shorter + shorter // 8 + _SLACK
    return min(one, most), min(other, most)


def _within(base: bytes, other: bytes, gap: Change) -> Iterator[Change]:
    """Where frames are missing or added in `gap`, which is not the same on both sides."""
    a, b = base[gap.left : gap.left_end], other[gap.right : gap.right_end]
    if not a or not b:
        yield gap
        return
    found = _few(a, b) if len(a) == len(b) else None
    if found is None:
        found = _exactly(a, b)
    if found is None:
        yield from _hopeless(gap)
        return
    for each in likelier(a, b, found):
        yield Change(
            gap.left + each.left,
            gap.left + each.left_end,
            gap.right + each.right,
            gap.right + each.right_end,
        )


def _few(a: bytes, b: bytes) -> list[Change] | None:
    """The frames that differ, if they are so few that no shift explains them with less."""
    if Hamming.distance(a, b) > _FEW:
        return None
    places = np.flatnonzero(np.frombuffer(a, np.uint8) != np.frombuffer(b, np.uint8)).tolist()
    return [Change(at, at + 1, at, at + 1) for at in places]


def _exactly(a: bytes, b: bytes) -> list[Change] | None:
    """The fewest changes that turn `a` into `b`; None where that would cost too much."""
    hint = abs(len(a) - len(b)) + _SLACK
    most = AFFORDABLE // max(len(a), len(b))
    if most < max(len(a), len(b)):
        hint = Levenshtein.distance(a, b, score_cutoff=most, score_hint=hint)
        if hint > most:
            return None
    return [Change(*each) for each in edits(a, b, hint)]


def _hopeless(gap: Change) -> Iterator[Change]:
    """A gap too wide and too unlike for the work: frame faces frame, the rest is left over."""
    shorter = min(gap.left_end - gap.left, gap.right_end - gap.right)
    left, right = gap.left + shorter, gap.right + shorter
    if left < gap.left_end or right < gap.right_end:
        yield Change(left, gap.left_end, right, gap.right_end)


def _first_possible(base: bytes, other: bytes, edges: Change, indels: list[Change]) -> list[Change]:
    """The same indels, each moved to the first place where it explains as much."""
    left, right = edges.left, edges.right
    moved: list[Change] = []
    for each in indels:
        room = min(each.left - left, each.right - right)
        by = _backwards(base, other, each, room) if room else 0
        here = Change(*(place - by for place in each))
        if moved and (here.left, here.right) == (left, right) and _alike(moved[-1], here):
            here = Change(moved[-1].left, here.left_end, moved[-1].right, here.right_end)
            del moved[-1]
        moved.append(here)
        left, right = here.left_end, here.right_end
    return moved


def _alike(one: Change, other: Change) -> bool:
    """Whether frames are missing in both, or added in both."""
    return (one.left == one.left_end) == (other.left == other.left_end)


def _backwards(base: bytes, other: bytes, indel: Change, room: int) -> int:
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


def _trimmed(base: bytes, other: bytes, edges: Change, indels: list[Change]) -> Pairing:
    """The pairing without indels at its ends: there a reading begins or ends beyond the other."""
    left, left_end, right, right_end = edges
    while indels and _from_start(base, other, indels[0], (left, right)):
        first = indels.pop(0)
        left += first.left_end - first.left
        right += first.right_end - first.right
    while indels and _to_end(base, other, indels[-1], (left_end, right_end)):
        last = indels.pop()
        left_end -= last.left_end - last.left
        right_end -= last.right_end - last.right
    return Pairing(base, other, left, left_end, right, right_end, tuple(indels))


def _from_start(base: bytes, other: bytes, first: Change, start: tuple[int, int]) -> bool:
    """Whether frames at the `start` may be missing or added as well as those of `first`."""
    a, b = base[start[0] : first.left], other[start[1] : first.right]
    moved = base[start[0] : first.left_end], other[start[1] : first.right_end]
    if not a:
        return True
    return Hamming.distance(moved[0][-len(a) :], moved[1][-len(a) :]) <= Hamming.distance(a, b)


def _to_end(base: bytes, other: bytes, last: Change, end: tuple[int, int]) -> bool:
    """Whether frames at the `end` may be missing or added as well as those of `last`."""
    a, b = base[last.left_end : end[0]], other[last.right_end : end[1]]
    moved = base[last.left : end[0]], other[last.right : end[1]]
    return Hamming.distance(moved[0][: len(a)], moved[1][: len(a)]) <= Hamming.distance(a, b)
