"""Two passes of one tape, the second from a little before where the first one stopped.

The frames that both have are found by short stretches of the second pass that stand in the first
as well. One that stands in several places tells nothing, so all of them vote, and the overlap
that follows from a vote is then compared frame by frame. A pass that lost or doubled a frame
inside the overlap is not joined: two such passes are better merged as two readings.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Final, NamedTuple

STRETCH: Final = 24
"""Frames of the second pass that must stand in the first, letter by letter."""

DISTINCT: Final = 5
"""Different frames that a stretch must hold: blanks and patterns stand everywhere."""

NEAR: Final = 120
"""How many frames a hand may be off when it puts a tape back: a foot."""

_MOST_STRETCHES: Final = 64
_MOST_PLACES: Final = 256

_TOLERATED: Final = 0.02
_ALWAYS_TOLERATED: Final = 2
"""A jam spoils the last frame or two before it."""


class Joined(NamedTuple):
    """Both passes as one.

    `start` is the frame of the first pass with which the second begins, below 0 where it begins
    before; `differing` are frames (of the first) that the passes do not agree on: the first holds.
    """

    frames: bytes
    start: int
    overlap: int
    added: int
    differing: tuple[int, ...]


class _Fit(NamedTuple):
    start: int
    overlap: int
    differing: tuple[int, ...]


def join(held: bytes, again: bytes, near: int | None = None) -> Joined | None:
    """`held` and what `again` goes on with; `near` is the frame from which it was fed again.

    None where no overlap is found, or several fit as well.
    """
    starts = [start for start in _starts(held, again) if near is None or abs(start - near) <= NEAR]
    fits = [fit for start in starts if _fits(fit := _fit(held, again, start))]
    if not fits:
        return None
    best = min(len(fit.differing) for fit in fits)
    fits = [fit for fit in fits if len(fit.differing) == best]
    if near is not None:
        fits.sort(key=lambda fit: abs(fit.start - near))
    elif len(fits) > 1:
        return None
    fit = fits[0]
    more = again[max(0, len(held) - fit.start) :]
    return Joined(held + more, fit.start, fit.overlap, len(more), fit.differing)


def _starts(held: bytes, again: bytes) -> list[int]:
    """Where in `held` the frames of `again` may begin, by the votes for it."""
    votes: Counter[int] = Counter()
    for at in _stretches(again):
        stretch = again[at : at + STRETCH]
        place = held.find(stretch)
        for _ in range(_MOST_PLACES):
            if place < 0:
                break
            votes[place - at] += 1
            place = held.find(stretch, place + 1)
    return [start for start, _ in votes.most_common()]


def _stretches(again: bytes) -> Iterator[int]:
    taken = 0
    for at in range(0, len(again) - STRETCH + 1, STRETCH // 2):
        if len(set(again[at : at + STRETCH])) >= DISTINCT:
            yield at
            taken += 1
        if taken == _MOST_STRETCHES:
            return


def _fit(held: bytes, again: bytes, start: int) -> _Fit:
    first = max(0, start)
    stop = min(len(held), start + len(again))
    mine, theirs = held[first:stop], again[first - start : stop - start]
    differing = tuple(
        first + at for at, (a, b) in enumerate(zip(mine, theirs, strict=True)) if a != b
    )
    return _Fit(start, len(mine), differing)


def _fits(fit: _Fit) -> bool:
    return len(fit.differing) <= max(_ALWAYS_TOLERATED, fit.overlap * _TOLERATED)
