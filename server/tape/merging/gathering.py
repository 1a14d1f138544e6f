"""Readings brought to one orientation, and what all of them together reach."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from server.tape.errors import TapeError
from server.tape.image import Image, Orientation
from server.tape.merging.anchors import Lane, shared, strangers
from server.tape.merging.pairing import AFFORDABLE, Pairing, pair

LEAST_ALIKE: Final = 2 / 3
"""The share of its frames that a reading must have like the others: two texts of one language,
laid on each other as well as can be, share less than half; the worst reading shares more."""

_PLAIN: Final = 0.25
"""The share of stretches of frames found again at which no other way of lying need be tried."""
_FAINT: Final = 0.01
_SHORT: Final = 4096
_OVERLAP: Final = 256
"""Frames, or half of the shorter reading, that must face each other: chance may join fewer."""

_MOST_IN_VAIN: Final = 4 * AFFORDABLE
"""Work that goes into laying readings on each other where they do not fit, one second or so: then
they are refused. Which of them is of another tape is told less surely for it, and only that."""

_LOOKED_FOR: Final = 200
"""Work, for each frame, that goes into looking for stretches that are shared."""

_TURNS: Final = tuple(Orientation)


def turned_twice(first: Orientation, then: Orientation) -> Orientation:
    """What turning an image one way and then another comes to."""
    backwards = first.runs_backwards != then.runs_backwards
    swapped = first.swaps_channels != then.swaps_channels
    return next(
        each
        for each in _TURNS
        if (each.runs_backwards, each.swaps_channels) == (backwards, swapped)
    )


@dataclass(frozen=True, slots=True)
class Gathered:
    """How each reading is turned to lie like the first, and a tape that reaches over all.

    The base is the longest of them, with what the others have before its start and behind its end;
    `pairings` say how each of them, so turned, lies on it.
    """

    turns: tuple[Orientation, ...]
    pairings: tuple[Pairing, ...]


_Misfits = dict[int, float | None]
"""How much each reading that fits nowhere is like the others; None where they share nothing."""


class _Fit(NamedTuple):
    turn: Orientation
    lane: Lane
    pairing: Pairing
    likeness: float


def gather(images: Sequence[Image]) -> Gathered:
    """Turn `images` alike, each to fit what the others hold.

    Raises:
        TapeError: one of them is not like the others.
    """
    order = sorted(range(len(images)), key=lambda at: (-len(images[at]), images[at].frames))
    readings = _Readings(images)
    best: tuple[Gathered, _Misfits] | None = None
    # If most are of one tape, one of these is.
    for first in order[: len(order) // 2 + 1]:
        found = _gathered_on(first, order, readings)
        if best is None or len(found[1]) < len(best[1]):
            best = found
        # The longest may be the one that does not fit; more than half of them cannot be.
        if 2 * len(best[1]) < len(images) or readings.is_spent():
            break
    assert best is not None
    if best[1]:
        _refuse(best[1])
    return best[0]


def _refuse(misfits: _Misfits) -> None:
    number, likeness = min(misfits.items(), key=lambda each: (each[1] or 0.0, each[0]))
    others = sorted(misfits.keys() - {number})
    more = f"; nor {_counted(others)}" if others else ""
    why = "no stretch of its frames is like any of theirs"
    if likeness is not None:
        why = f"laid on them as well as can be, {likeness:.0%} of its frames are like theirs"
    raise TapeError(
        f"reading {number + 1} does not fit the others: {why}{more}",
        mend="leave it out if it is of another tape, or read the tape again",
    )


def _counted(numbers: Sequence[int]) -> str:
    named = " and ".join(str(number + 1) for number in numbers)
    return f"do readings {named}" if len(numbers) > 1 else f"does reading {named}"


class _Readings:
    """The readings, turned each way once, and the work that went into laying them `in_vain`."""

    def __init__(self, images: Sequence[Image]) -> None:
        self.images = images
        self.in_vain = 0
        self._lanes: dict[tuple[int, Orientation], Lane] = {}

    def lane(self, at: int, turn: Orientation) -> Lane:
        """The reading numbered `at`, turned that way."""
        if (at, turn) not in self._lanes:
            self._lanes[at, turn] = Lane(self.images[at].turned(turn).frames)
        return self._lanes[at, turn]

    def fit(self, base: Lane, at: int) -> _Fit | None:
        """How the reading numbered `at` fits `base` best; None if it has nothing like it."""
        shares = {}
        for turn in _TURNS:
            shares[turn] = shared(base, self.lane(at, turn))
            if shares[turn] >= _PLAIN:
                break
        best = max(shares, key=shares.__getitem__)
        if shares[best] >= _FAINT:
            return _laid(base, self.lane(at, best), best)
        size = len(self.images[at])
        if all(strangers(base, self.lane(at, turn)) for turn in _TURNS):
            self.in_vain += _LOOKED_FOR * (len(base) + size)
            return None
        tried = _TURNS if min(len(base), size) <= _SHORT else (best,)
        fit = max(
            (_laid(base, self.lane(at, turn), turn) for turn in tried), key=lambda fit: fit.likeness
        )
        if fit.likeness < LEAST_ALIKE:
            self.in_vain += len(tried) * min(len(base) * size, AFFORDABLE)
        return fit

    def is_spent(self) -> bool:
        """Whether so much was done in vain that no more is worth it."""
        return self.in_vain > _MOST_IN_VAIN


def _gathered_on(
    first: int, order: Sequence[int], readings: _Readings
) -> tuple[Gathered, _Misfits]:
    """All readings laid on the one numbered `first`; and those that fit nowhere, with how alike."""
    base = readings.lane(first, Orientation.AS_READ)
    fits = {first: _laid(base, base, Orientation.AS_READ)}
    waiting = [at for at in order if at != first]
    likeness: _Misfits = {}
    progress = True
    while waiting and progress and not readings.is_spent():
        progress = False
        for at in tuple(waiting):
            fit = readings.fit(base, at)
            likeness[at] = fit.likeness if fit else None
            if fit and fit.likeness >= LEAST_ALIKE:
                fits[at] = fit
                base = _reaching_over(base, fit.pairing)
                waiting.remove(at)
                progress = True
            elif readings.is_spent():
                break
    if waiting:
        return Gathered((), ()), {at: likeness[at] for at in waiting if at in likeness}
    ways = tuple(fits[at].turn for at in range(len(order)))
    pairings = tuple(_on(base, fits[at]) for at in range(len(order)))
    return Gathered(ways, pairings), {}


def _on(base: Lane, fit: _Fit) -> Pairing:
    """The pairing of a reading with what became of the base since."""
    return fit.pairing if fit.pairing.base is base.frames else pair(base, fit.lane)


def _laid(base: Lane, lane: Lane, turn: Orientation) -> _Fit:
    pairing = pair(base, lane)
    enough = pairing.ends - pairing.begins >= min(_OVERLAP, min(len(base), len(lane)) // 2)
    return _Fit(turn, lane, pairing, pairing.likeness if enough else 0.0)


def _reaching_over(base: Lane, pairing: Pairing) -> Lane:
    """The base with what the other has before its start and behind its end."""
    before = b"" if pairing.begins else pairing.other[: pairing.before]
    behind = b"" if pairing.ends < len(pairing.base) else pairing.other[pairing.after :]
    return Lane(before + base.frames + behind) if before or behind else base
