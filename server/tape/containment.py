"""One content inside another: a program on a reel of several, a copy that was cut short.

Where in the longer the shorter stands is told by the lines, or runs of frames, that are in
both: each counts for what it is long, all others against it, and the stretch that counts most
is it. The shorter is then compared with that stretch exactly.
"""

from collections.abc import Hashable, Sequence
from dataclasses import replace
from itertools import accumulate
from typing import NamedTuple

from server.tape.alignment import anchors, numbered
from server.tape.changes import Changes, runs_of
from server.tape.normal_form import NormalForm
from server.tape.seen import Seen, nearest

PART_CUTOFF = 0.8
"""The least similarity of a part to where it stands in the whole.

Lower than for kin would be chance: of two contents, one has many places to be like the other."""

_LEAST_LINES, _LEAST_CHARACTERS, _LEAST_BYTES = 3, 48, 32
"""What is shorter stands in many tapes, and tells nothing."""

_MOST_SHARE = 0.9
"""A stretch that is longer than this share of the whole is no part of it, but a version."""

_LEAST_OUTSIDE_LINES, _LEAST_OUTSIDE_BYTES = 4, 64
"""What adds less than this at an end is a version too."""

_LEAST_SHARE = 0.3
"""The share of a part that must be in the whole, line by line, before anything is compared."""

_LOOSE = 1.25
"""A stretch so many times as long as the part takes in more than it, such as a second copy."""

_RUN = 16
"""Frames in a run, on average, by which frames are placed."""


class Part(NamedTuple):
    """What leads from the stretch of the whole to the part, and how much lies about the stretch.

    `outside` counts lines, `beyond` their characters; both count bytes or frames where the two
    are no listings.
    """

    changes: Changes
    seen: Seen
    outside: int
    beyond: int


def part_of(part: NormalForm, whole: NormalForm) -> Part | None:
    """How `part`, the shorter, stands in `whole`; None where it does not."""
    if part.textual and whole.textual:
        return _lines_in(part, whole)
    if part.textual or whole.textual:
        return None
    return _frames_in(part, whole)


def _lines_in(part: NormalForm, whole: NormalForm) -> Part | None:
    if len(part.lines) < _LEAST_LINES or len(part.text) < _LEAST_CHARACTERS:
        return None
    if len(part.text) > len(whole.text) * _MOST_SHARE:
        return None
    sides = (
        Items(each.bodies, [len(body) + 1 for body in each.bodies], [1] * len(each.bodies))
        for each in (part, whole)
    )
    place = _place(*sides)
    if place is None:
        return None
    start, stop = place
    inside = replace(whole, lines=whole.lines[start:stop], keys=whole.keys[start:stop], content=b"")
    outside = len(whole.lines) - len(inside.lines)
    if outside < _LEAST_OUTSIDE_LINES or len(inside.text) > len(whole.text) * _MOST_SHARE:
        return None
    found = nearest(inside, part, PART_CUTOFF)
    beyond = len(whole.text) - len(inside.text)
    return None if found is None else Part(*found, outside, beyond)


def _frames_in(part: NormalForm, whole: NormalForm) -> Part | None:
    left, right = (
        (part.binary, whole.binary)
        if part.memory and whole.memory
        else (part.content, whole.content)
    )
    if not _LEAST_BYTES <= len(left) <= len(right) * _MOST_SHARE:
        return None
    place = _place_of_frames(left, right)
    if place is None:
        return None
    start, stop = place
    outside = len(right) - (stop - start)
    if outside < _LEAST_OUTSIDE_BYTES or stop - start > len(right) * _MOST_SHARE:
        return None
    inside, alone = (
        NormalForm(part.format, (), (), content, textual=False)
        for content in (right[start:stop], left)
    )
    found = nearest(inside, alone, PART_CUTOFF)
    return None if found is None else Part(*found, outside, outside)


def _place_of_frames(part: bytes, whole: bytes) -> tuple[int, int] | None:
    """Where in `whole` the frames of `part` stand; None where they do not."""
    exact = whole.find(part)
    if exact >= 0:
        return exact, exact + len(part)
    runs = (runs_of(each, _RUN) for each in (part, whole))
    lengths = ((each, [len(run) for run in each]) for each in runs)
    return _place(*(Items(each, sizes, sizes) for each, sizes in lengths))


class Items(NamedTuple):
    """Lines, or runs of frames; what each weighs, and how much of the content it takes."""

    items: Sequence[Hashable]
    weights: Sequence[int]
    sizes: Sequence[int]

    def between(self, start: int, stop: int) -> "Items":
        """Those from `start` up to, not including, `stop`."""
        return Items(self.items[start:stop], self.weights[start:stop], self.sizes[start:stop])


def _place(part: Items, whole: Items) -> tuple[int, int] | None:
    """The stretch of `whole` that `part` stands in; None where it hardly does."""
    known = set(part.items)
    if _shared(part, whole) < _LEAST_SHARE * sum(part.weights):
        return None
    signed = [
        weight if item in known else -weight
        for item, weight in zip(whole.items, whole.weights, strict=True)
    ]
    start, stop = _heaviest(signed)
    if sum(whole.weights[start:stop]) > _LOOSE * sum(part.weights):
        start, stop = _heaviest_of(signed, len(part.items))
    inside = whole.between(start, stop)
    if _shared(part, inside) < _LEAST_SHARE * sum(part.weights):
        return None
    return _fitted(part, inside, sum(whole.sizes[:start]), sum(whole.sizes))


def _shared(part: Items, inside: Items) -> int:
    """What of the part is in the stretch, by weight, each thing once."""
    both = set(part.items) & set(inside.items)
    weights = dict(zip(part.items, part.weights, strict=True))
    return sum(weights[item] for item in both)


def _fitted(part: Items, inside: Items, begins: int, end: int) -> tuple[int, int]:
    """The stretch, so cut that the part fits: told by what stands once in each."""
    once = anchors(*numbered(part.items, inside.items))
    if not once:
        return begins, begins + sum(inside.sizes)
    places = [list(accumulate(each.sizes, initial=0)) for each in (part, inside)]
    (first, first_inside), (last, last_inside) = once[0], once[-1]
    start = begins + places[1][first_inside] - places[0][first]
    stop = begins + places[1][last_inside] + places[0][-1] - places[0][last]
    return max(0, start), min(end, stop)


def _heaviest(weights: Sequence[int]) -> tuple[int, int]:
    """The stretch of the greatest sum (J. Kadane's algorithm; from memory)."""
    best, best_span, total, start = 0, (0, 0), 0, 0
    for at, weight in enumerate(weights):
        if total <= 0:
            total, start = 0, at
        total += weight
        if total > best:
            best, best_span = total, (start, at + 1)
    return best_span


def _heaviest_of(weights: Sequence[int], count: int) -> tuple[int, int]:
    """The stretch of so many items of the greatest sum."""
    sums = list(accumulate(weights, initial=0))
    count = min(count, len(weights))
    start = max(range(len(weights) - count + 1), key=lambda at: sums[at + count] - sums[at])
    return start, start + count
