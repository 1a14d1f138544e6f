"""Past damage to the next whole line of a crunched program, or to its end.

A line that stands where its own link says it should is believed, and what lies before it is the
damaged line. One link in 65536 agrees by chance, so a place where no line can be seen to begin
(the frame before is not 00) has to show more.
"""

from bisect import bisect_left
from collections.abc import Iterator
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from server.tape.basic.links import HEADER, LONGEST, SHORTEST, Links, chained_lines
from server.tape.basic.program import LEAD

SLIP: Final = 4
"""Frames that a reader loses or repeats in one line; more is not put down to it."""

_MOST_SEARCHES: Final = 500
"""Damaged lines after which a line is sought frame by frame; then only among chained ones."""


class Broken(NamedTuple):
    """The line where the search starts: its frame, address in memory if known, and link.

    `last_number` is the highest line number before it that is believed.
    """

    at: int
    address: int | None
    link: int
    last_number: int


class Landing(NamedTuple):
    """Where the walk goes on after damage: the next line or the end, and its address if known."""

    at: int
    address: int | None
    ends: bool = False


def signed(difference: int) -> int:
    """A difference of addresses, between -32768 and 32767."""
    return (difference + 0x8000) % 0x10000 - 0x8000


class Resync:
    """The search for whole lines in `links`, for a program whose first line starts at `first`."""

    def __init__(self, links: Links, first: int) -> None:
        self._links = links
        self._frames = links.frames
        self._first = first
        self._searches = 0

    def displaced(self, at: int, address: int | None) -> int | None:
        """Where the next whole line starts, if fewer frames than a line has stand before it."""
        if address is None:
            return None
        for place in range(at + 1, at + SHORTEST):
            own = self._links.address(place)
            if own == address:
                return place
            near = own is not None and (own - address) & 0xFFFF <= LONGEST
            if near and not self._frames[place - 1] and self._links.confirmed(place):
                return place
        return None

    def next_line(self, broken: Broken) -> Landing | None:
        """The next whole line, or the end of the program; None where there is neither."""
        end = self._next_end(broken)
        landing = self._next_whole(broken, end)
        if landing is None and end is not None:
            landing = Landing(end, None, ends=True)
        if landing is None:
            return None
        return self._between(broken, landing) or landing

    def barrier(self, at: int) -> int:
        """The lead of the next program on the tape, which no search may cross, or the limit."""
        return self._next_lead if self._next_lead > at else self._links.limit

    @cached_property
    def _next_lead(self) -> int:
        lead = self._frames.find(LEAD, self._first, self._links.limit)
        return lead if lead >= 0 else self._links.limit

    @cached_property
    def _chained(self) -> list[int]:
        array = np.frombuffer(self._frames, np.uint8)
        found: list[int] = chained_lines(array, self._first, self._links.limit).tolist()
        return found

    def _next_whole(self, broken: Broken, end: int | None) -> Landing | None:
        for place in self._places(broken.at):
            own = self._links.address(place)
            if own is not None and self._is_line(place, own, broken):
                expected = _is_expected(place, own, broken)
                if end is not None and end < place and not expected:
                    return None
                if expected or broken.address is None or self._links.confirmed(place):
                    return Landing(place, own)
                # Its own link is wrong too: it stood where the frames say.
                return Landing(place, (broken.address + place - broken.at) & 0xFFFF)
        return None

    def _places(self, at: int) -> Iterator[int]:
        """Where the line after that at `at` may start: near by, then among chained lines."""
        barrier = self.barrier(at)
        self._searches += 1
        if self._searches <= _MOST_SEARCHES:
            yield from range(at + SHORTEST, min(at + LONGEST + SHORTEST, barrier))
        near = bisect_left(self._chained, at + SHORTEST)
        if near < len(self._chained) and self._chained[near] < barrier:
            yield self._chained[near]

    def _is_line(self, place: int, own: int, broken: Broken) -> bool:
        """Whether what stands at `place`, at address `own`, is convincingly the next line."""
        links = self._links
        ends, confirmed = links.ends_after(place), links.confirmed(place)
        if self._frames[place - 1]:
            return (ends or confirmed) and _is_expected(place, own, broken, slip=0)
        if confirmed or _is_expected(place, own, broken):
            return True
        return ends and links.plausible(place, broken.last_number)

    def _next_end(self, broken: Broken) -> int | None:
        """Where the program seems to end, if no whole line comes first."""
        at = broken.at
        stop = min(at + LONGEST + SHORTEST, self.barrier(at))
        blank = self._frames.find(b"\0\0\0", at + HEADER, stop)
        if broken.address is not None:
            linked = at + ((broken.link - broken.address) & 0xFFFF)
            near = at + SHORTEST <= linked <= at + LONGEST and self._links.word(linked) == 0
            if near and (not 0 <= blank < linked or any(self._frames[blank:linked])):
                return linked
        return None if blank < 0 else blank + 1

    def _between(self, broken: Broken, landing: Landing) -> Landing | None:
        """The line between the broken one and `landing`, where both of these are damaged."""
        at, links = broken.at, self._links
        between = links.after(at)
        if between is None or landing.address is None or links.after(between) != landing.at:
            return None
        above = max(broken.last_number, links.word(at + 2) or 0)
        number, below = links.word(between + 2) or 0, links.word(landing.at + 2) or 0
        if number >= below or not links.plausible(between, above):
            return None
        return Landing(between, (landing.address - (landing.at - between)) & 0xFFFF)


def _is_expected(place: int, own: int, broken: Broken, slip: int = SLIP) -> bool:
    """Whether the line at `place`, which stood at address `own`, is where the broken one leads.

    By its link, or by the frames between the two but for at most `slip`.
    """
    if own == broken.link:
        return True
    if broken.address is None:
        return False
    return abs(signed(own - broken.address - (place - broken.at))) <= slip
