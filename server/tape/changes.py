"""What changed from one normal form to another, and how far apart the two are: exactly, affordably.

Listings are compared by the edit distance of their normal lines, and their lines counted; what
is no listing by what it loads, or else frame by frame. Up to a full roll the distance is exact
(see `server.tape.edit_distance` for its cost). Beyond what is affordable there (300,000 frames of
which more than one in fifteen changed), and where enough whole lines or runs of frames are the
same in both, the distance is that of whole lines or runs, exact within each pair that differs:
an upper bound of the edit distance. Where too few are the same, nothing is compared.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import floor

import numpy as np

from server.tape.alignment import Pair, common, gaps, numbered
from server.tape.edit_distance import affordable, at_least, counts, distance
from server.tape.line_pairs import Keyed, pair
from server.tape.memory_cells import cells_in
from server.tape.normal_form import MemoryRun, NormalForm, common_cell

_SHARED = 8
"""Beyond what is affordable, one in so many different lines or runs must be in both."""

_RUN, _MOST_RUNS = 64, 1 << 14
"""Frames in a run, on average, where content is cut into runs, and about how many runs at most."""

_WINDOW = 4
"""Frames that decide whether a run ends with them."""


class Unit(StrEnum):
    """What `added`, `removed` and `changed` count."""

    LINE = "line"
    ADDRESS = "address"
    FRAME = "frame"


@dataclass(frozen=True, slots=True)
class Changes:
    """What leads from one normal form to another.

    `distance` is counted in characters, bytes or frames, and `longer` is the length of the
    longer side in the same; `added`, `removed` and `changed` count what is in the second only,
    in the first only, and in both but not the same, in `unit`.
    """

    distance: int
    longer: int
    added: int
    removed: int
    changed: int
    unit: Unit


def changes(a: NormalForm, b: NormalForm, cutoff: float) -> Changes | None:
    """What leads from `a` to `b`; None where their similarity does not reach `cutoff`."""
    return _of_lines(a, b, cutoff) if a.textual and b.textual else _of_bytes(a, b, cutoff)


def _of_lines(a: NormalForm, b: NormalForm, cutoff: float) -> Changes | None:
    left, right = a.text, b.text
    longer = max(len(left), len(right))
    most = _most(longer, cutoff)
    if most <= affordable(longer):
        found = distance(left, right, most)
        return None if found is None else _counted_lines(a, b, _pairs(a, b), found, longer)
    if at_least(left, right) > most or not _share_enough(a.lines, b.lines):
        return None
    pairs = _pairs(a, b)
    known = _distance_of_lines(a.lines, b.lines, pairs)
    exact = distance(left, right, known)
    found = known if exact is None else exact
    return None if found > most else _counted_lines(a, b, pairs, found, longer)


def _pairs(a: NormalForm, b: NormalForm) -> list[Pair]:
    return pair(Keyed(a.lines, a.keys), Keyed(b.lines, b.keys))


def _counted_lines(
    a: NormalForm, b: NormalForm, pairs: Sequence[Pair], found: int, longer: int
) -> Changes:
    return Changes(
        distance=found,
        longer=longer,
        added=len(b.lines) - len(pairs),
        removed=len(a.lines) - len(pairs),
        changed=sum(a.lines[left] != b.lines[right] for left, right in pairs),
        unit=Unit.LINE,
    )


def _of_bytes(a: NormalForm, b: NormalForm, cutoff: float) -> Changes | None:
    """By what is loaded, or frame by frame, whichever is nearer where one side loads nothing."""
    if a.memory and b.memory:
        return _of_sides(a, b, a.binary, b.binary, cutoff)
    sides = dict.fromkeys(((a.content, b.content), (a.binary, b.binary)))
    found = [_of_sides(a, b, left, right, cutoff) for left, right in sides]
    told = [each for each in found if each is not None]
    return min(told, default=None, key=lambda each: each.distance / max(each.longer, 1))


def _of_sides(
    a: NormalForm, b: NormalForm, left: bytes, right: bytes, cutoff: float
) -> Changes | None:
    longer = max(len(left), len(right))
    most = _most(longer, cutoff)
    found = distance(left, right, most)
    if found is not None:
        told = Changes(found, longer, *counts(left, right, found), Unit.FRAME)
        return _told(a, b, told)
    within = _of_runs(left, right) if most > affordable(longer) else None
    return _told(a, b, within) if within and within.distance <= most else None


def _told(a: NormalForm, b: NormalForm, in_frames: Changes) -> Changes:
    """The changes by address, unless one byte put in moves all that follow it."""
    cell = common_cell(a, b)
    in_addresses = _by_address(a.memory, b.memory, cell, in_frames)
    all_told = in_addresses.added + in_addresses.removed + in_addresses.changed
    return in_addresses if 0 < all_told * cell <= 2 * in_frames.distance else in_frames


def _most(longer: int, cutoff: float) -> int:
    """The greatest distance at which the similarity still reaches `cutoff`."""
    return floor(longer * (1 - cutoff) + 1e-9)


def _share_enough(a: Sequence[Hashable], b: Sequence[Hashable]) -> bool:
    different, others = set(a), set(b)
    return len(different & others) * _SHARED >= max(len(different), len(others))


def _distance_of_lines(a: Sequence[str], b: Sequence[str], pairs: Sequence[Pair]) -> int:
    """The edit distance when each pair of lines, and what lies between them, is taken by itself."""
    between = gaps(pairs, len(a), len(b))
    parts = [
        *((a[left], b[right]) for left, right in pairs if a[left] != b[right]),
        *(
            (_text(a[gap.left : gap.left_end]), _text(b[gap.right : gap.right_end]))
            for gap in between
        ),
    ]
    return sum(_of_part(x, y, len(parts)) for x, y in parts)


def _text(lines: Sequence[str]) -> str:
    return "".join(f"{line}\n" for line in lines)


def _of_part(a: str | bytes, b: str | bytes, parts: int) -> int:
    """The edit distance of one of so many parts that are affordable together."""
    longer = max(len(a), len(b))
    found = distance(a, b, affordable(longer) // parts)
    return longer if found is None else found


def _of_runs(a: bytes, b: bytes) -> Changes | None:
    """What changed when the runs of frames that both have are kept; the fewest that explain it."""
    longer = max(len(a), len(b))
    every = max(_RUN, longer // _MOST_RUNS)
    runs_a, runs_b = runs_of(a, every), runs_of(b, every)
    if not _share_enough(runs_a, runs_b):
        return None
    pairs = common(*numbered(runs_a, runs_b))
    parts = [
        (b"".join(runs_a[gap.left : gap.left_end]), b"".join(runs_b[gap.right : gap.right_end]))
        for gap in gaps(pairs, len(runs_a), len(runs_b))
    ]
    found = sum(_of_part(x, y, len(parts)) for x, y in parts)
    added = sum(max(0, len(y) - len(x)) for x, y in parts)
    removed = sum(max(0, len(x) - len(y)) for x, y in parts)
    return Changes(found, longer, added, removed, found - added - removed, Unit.FRAME)


def runs_of(data: bytes, every: int) -> list[bytes]:
    """`data` cut about once in so many frames.

    The frames themselves say where, so that a frame put in moves no cut but the next.
    """
    frames = np.frombuffer(data, dtype=np.uint8).astype(np.uint32)
    window = np.zeros(len(frames), np.uint32)
    for back in range(_WINDOW):
        window[back:] = window[back:] * np.uint32(0x9E3779B1) + frames[: len(frames) - back]
    cuts = np.flatnonzero((window >> np.uint32(12)) % every == 0).tolist()
    return [data[start:stop] for start, stop in pairwise([0, *cuts, len(data)])]


def _by_address(
    a: Sequence[MemoryRun], b: Sequence[MemoryRun], cell_bytes: int, told: Changes
) -> Changes:
    """The same changes, counted in addresses, each of which is that of a cell."""
    (at_a, held_a), (at_b, held_b) = (cells_in(each, cell_bytes) for each in (a, b))
    both, left, right = np.intersect1d(at_a, at_b, assume_unique=True, return_indices=True)
    return Changes(
        distance=told.distance,
        longer=told.longer,
        added=len(at_b) - len(both),
        removed=len(at_a) - len(both),
        changed=int(np.count_nonzero(held_a[left] != held_b[right])),
        unit=Unit.ADDRESS,
    )
