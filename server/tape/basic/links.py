"""The linked lines of a crunched program, as its frames tell them.

A line is a link (two bytes, low first: the address of the next line), a line number (two bytes),
the text, and 00; a link of zero ends the program (from memory). So every whole line tells where
it stood in memory: at its link less its length. All addresses are modulo 65536.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.basic.program import HIGHEST_NUMBER, LONGEST_TEXT
from server.tape.image import Frames

HEADER: Final = 4
"""Frames of a link and a line number."""

SHORTEST: Final = HEADER + 1
LONGEST: Final = HEADER + LONGEST_TEXT + 1

MOST_FRAMES: Final = 1 << 17
"""No program is longer: the class of machine has 65536 addresses, half as many."""

_ORDINARY: Final = bytes(range(0x20, 0x7F)) + bytes(range(0x80, 0x100))


class Links:
    """The frames of a tape up to `limit`, asked as linked lines; nothing here ever raises."""

    def __init__(self, frames: bytes, limit: int) -> None:
        self.frames = frames
        self.limit = min(limit, len(frames))

    def word(self, at: int) -> int | None:
        """The two bytes at `at`, low first; None where the tape ends before."""
        if at + 2 > self.limit:
            return None
        return self.frames[at] | self.frames[at + 1] << 8

    def after(self, at: int) -> int | None:
        """Where the line after that at `at` starts, by the 00 that ends a text."""
        end = self.frames.find(b"\0", at + HEADER, min(at + LONGEST, self.limit))
        return None if end < 0 else end + 1

    def address(self, at: int) -> int | None:
        """Where in memory the line at `at` stood, by its own link and length."""
        link, after = self.word(at), self.after(at)
        if not link or after is None:
            return None
        return (link - (after - at)) & 0xFFFF

    def confirmed(self, at: int) -> bool:
        """Whether the link of the line at `at` leads to where the next one says it stood."""
        after = self.after(at)
        return after is not None and self.address(after) == self.word(at)

    def ends_after(self, at: int) -> bool:
        """Whether a zero link follows the line at `at`."""
        after = self.after(at)
        return after is not None and self.word(after) == 0

    def plausible(self, at: int, above: int = -1) -> bool:
        """Whether frames that a line may hold stand at `at`, its number higher than `above`."""
        number, after = self.word(at + 2), self.after(at)
        if number is None or after is None or after - at <= SHORTEST:
            return False
        text = self.frames[at + HEADER : after - 1]
        return above < number <= HIGHEST_NUMBER and not text.translate(None, _ORDINARY)


def chained_lines(array: Frames, start: int, stop: int) -> NDArray[np.intp]:
    """Where lines start, from `start` up to `stop`, whose link and number agree with the next.

    Both lines of each agreeing pair are given, rising, without repetition. A line whose
    forerunner does not end in 00 (the first of a program) is not found.
    """
    stretch = array[start:stop]
    zeros = np.flatnonzero(stretch == 0)
    starts = zeros[: np.searchsorted(zeros, stretch.size - SHORTEST)] + 1
    following = np.searchsorted(zeros, starts + HEADER)
    whole = following < zeros.size
    starts, following = starts[whole], following[whole]
    link, number = _words(stretch, starts), _words(stretch, starts + 2)
    after = zeros[following] + 1
    # `following` counts the same zeros as `starts`, so it is also the place of the next line.
    known = following < starts.size
    next_line = np.minimum(following, max(starts.size - 1, 0))
    agree = (
        known
        & (link != 0)
        & (after - starts <= LONGEST)
        & (after[next_line] - after <= LONGEST)
        & (((link[next_line] - link) & 0xFFFF) == after[next_line] - after)
        & (number[next_line] > number)
    )
    is_chained = np.zeros(stretch.size + 1, bool)
    is_chained[starts[agree]] = is_chained[after[agree]] = True
    return np.flatnonzero(is_chained) + start


def _words(array: Frames, at: NDArray[np.intp]) -> NDArray[np.intp]:
    return array[at].astype(np.intp) | array[at + 1].astype(np.intp) << 8
