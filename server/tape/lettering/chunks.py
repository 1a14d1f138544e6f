"""Where letters may stand: short columns between blank ones, at one end of a tape."""

from typing import Final

import numpy as np

from server.tape.image import Frames, Span, run_length
from server.tape.lettering.templates import BROADEST

_LONGEST: Final = 2048
"""Frames of the longest text that is read: some five metres of letters."""

_BETWEEN_WORDS: Final = 8
"""Blank frames that may stand in a text; more of them end it."""

_APART: Final = 3
"""Blank frames at least between a text and leader that is punched with a pattern."""

_BROADEST_PAIR: Final = 2 * BROADEST + 1
"""Frames without a blank one in a text: two letters and a wrong hole between them."""


def first_chunk(array: Frames, start: int) -> Span | None:
    """The first frames from `start` on that may be letters; None if data or nothing stands there.

    They stand apart from all else: behind the end of the tape or blank frames, and before more
    blank frames than divide words, a pattern that is broader than any letter, or the other end.
    """
    first = _behind_leader(array, start)
    if first == len(array) or array[max(0, first - _APART) : first].any():
        return None
    # Most tapes bear no letters, and a look at a few frames tells.
    if _too_broad(array[first : first + _BROADEST_PAIR + 1]):
        return None
    window = array[first : first + _LONGEST]
    length = _length(window, cut=first + _LONGEST < len(array))
    return Span(first, first + length) if length else None


def _behind_leader(array: Frames, start: int) -> int:
    """The first frame from `start` on that is not blank, nor in a pattern broader than letters."""
    at = start
    while at < len(array):
        same = run_length(array[at:])
        if array[at] and same <= BROADEST:
            break
        at += same
    return at


def _too_broad(frames: Frames) -> bool:
    return len(frames) > _BROADEST_PAIR and bool(frames.all())


def _length(window: Frames, *, cut: bool) -> int:
    """How many frames of `window` stand together; 0 if they are no letters.

    `cut` says that the tape goes on behind the window.
    """
    punched = np.flatnonzero(window)
    breaks = np.flatnonzero(np.diff(punched) > 1)
    starts = [int(punched[0]), *punched[breaks + 1].tolist()]
    stops = [*(punched[breaks] + 1).tolist(), int(punched[-1]) + 1]
    stop = 0
    for begin, end in zip(starts, stops, strict=True):
        if begin - stop > _BETWEEN_WORDS:
            return stop
        if end - begin > BROADEST and run_length(window[begin:]) > BROADEST:
            return stop if begin - stop >= _APART else 0
        if _too_broad(window[begin:end]):
            return 0
        stop = end
    return 0 if cut and len(window) - stop <= _BETWEEN_WORDS else stop
