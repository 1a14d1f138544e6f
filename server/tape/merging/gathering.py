"""Readings brought to one orientation, and what all of them together reach."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from server.tape.errors import TapeError
from server.tape.image import Image, Orientation
from server.tape.merging.anchors import Lane, shared
from server.tape.merging.pairing import Pairing, pair

LEAST_ALIKE: Final = 2 / 3
"""The share of its frames that a reading must have like the others: two texts of one language,
laid on each other as well as can be, share less than half; the worst reading shares more."""

_PLAIN: Final = 0.25
"""The share of stretches of frames found again at which no other way of lying need be tried."""
_FAINT: Final = 0.01
_SHORT: Final = 4096
_OVERLAP: Final = 256
"""Frames, or half of the shorter reading, that must face each other: chance may join fewer."""

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
    best: tuple[Gathered, dict[int, float]] | None = None
    for first in order:
        found = _gathered_on(first, order, images)
        if best is None or len(found[1]) < len(best[1]):
            best = found
        # The longest may be the one that does not fit; more than half of them cannot be.
        if 2 * len(best[1]) < len(images):
            break
    assert best is not None
    if best[1]:
        _refuse(best[1])
    return best[0]


def _refuse(misfits: dict[int, float]) -> None:
    number, likeness = min(misfits.items(), key=lambda each: (each[1], each[0]))
    others = sorted(misfits.keys() - {number})
    more = f"; nor {_counted(others)}" if others else ""
    raise TapeError(
        f"reading {number + 1} does not fit the others: laid on them as well as can be, "
        f"{likeness:.0%} of its frames are like theirs{more}",
        mend="leave it out if it is of another tape, or read the tape again",
    )


def _counted(numbers: Sequence[int]) -> str:
    named = " and ".join(str(number + 1) for number in numbers)
    return f"do readings {named}" if len(numbers) > 1 else f"does reading {named}"


def _gathered_on(
    first: int, order: Sequence[int], images: Sequence[Image]
) -> tuple[Gathered, dict[int, float]]:
    """All readings laid on the one numbered `first`; and those that fit nowhere, with how alike."""
    base = Lane(images[first].frames)
    fits = {first: _laid(base, base, Orientation.AS_READ)}
    waiting = [at for at in order if at != first]
    likeness: dict[int, float] = {}
    progress = True
    while waiting and progress:
        progress = False
        for at in tuple(waiting):
            fit = _fit(base, images[at])
            likeness[at] = fit.likeness
            if fit.likeness >= LEAST_ALIKE:
                fits[at] = fit
                base = _reaching_over(base, fit.pairing)
                waiting.remove(at)
                progress = True
    if waiting:
        return Gathered((), ()), {at: likeness[at] for at in waiting}
    ways = tuple(fits[at].turn for at in range(len(images)))
    pairings = tuple(_on(base, fits[at]) for at in range(len(images)))
    return Gathered(ways, pairings), {}


def _on(base: Lane, fit: _Fit) -> Pairing:
    """The pairing of a reading with what became of the base since."""
    return fit.pairing if fit.pairing.base is base.frames else pair(base, fit.lane)


def _fit(base: Lane, image: Image) -> _Fit:
    """How `image` fits `base` best."""
    lanes, shares = {}, {}
    for turn in _TURNS:
        lanes[turn] = Lane(image.turned(turn).frames)
        shares[turn] = shared(base, lanes[turn])
        if shares[turn] >= _PLAIN:
            break
    turn = max(shares, key=shares.__getitem__)
    if shares[turn] < _FAINT and min(len(base), len(image)) <= _SHORT:
        laid = (_laid(base, lane, each) for each, lane in lanes.items())
        return max(laid, key=lambda fit: fit.likeness)
    return _laid(base, lanes[turn], turn)


def _laid(base: Lane, lane: Lane, turn: Orientation) -> _Fit:
    pairing = pair(base, lane)
    enough = pairing.ends - pairing.begins >= min(_OVERLAP, min(len(base), len(lane)) // 2)
    return _Fit(turn, lane, pairing, pairing.likeness if enough else 0.0)


def _reaching_over(base: Lane, pairing: Pairing) -> Lane:
    """The base with what the other has before its start and behind its end."""
    before = b"" if pairing.begins else pairing.other[: pairing.before]
    behind = b"" if pairing.ends < len(pairing.base) else pairing.other[pairing.after :]
    return Lane(before + base.frames + behind) if before or behind else base
