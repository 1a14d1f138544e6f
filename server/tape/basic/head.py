"""Where a crunched program begins on a tape: at its lead, a damaged lead, or none at all."""

import re
from collections.abc import Iterator
from enum import StrEnum
from itertools import islice
from typing import Final, NamedTuple

from server.tape.basic.links import LONGEST, MOST_FRAMES, SHORTEST, Links, chained_lines
from server.tape.basic.program import LEAD
from server.tape.image import Frames

_MOST_TRIED: Final = 64
"""Places that look like a lead which are looked at; a tape holds a handful."""

_LEADER_RUN: Final = 8
"""As many D3 in a row, or more, are a patterned leader with a lead at its end."""

_RUN = re.compile(rb"\xd3+")
_NEARLY_LEAD = re.compile(rb"\xd3\xd3|\xd3[^\xd3]\xd3")


class Lead(StrEnum):
    """What is left of the three bytes and the name that a program begins with."""

    WHOLE = "whole"
    DAMAGED = "damaged"
    TORN_OFF = "torn off"


class Head(NamedTuple):
    """The beginning of a program: its first frame, and that of its first whole line.

    Between the two stand lead and name; where those are torn off, what is left of a line.
    """

    start: int
    first: int
    lead: Lead
    name: int | None


def find_head(frames: bytes, array: Frames, begin: int) -> Head | None:
    """The beginning of the first program at or after frame `begin`, or None.

    The whole tape is searched for a lead; a damaged lead, or lines without one, are sought
    before that lead in the first frames after `begin`. A leader of D3 ends in a lead, so the
    search for one starts a little before `begin`.
    """
    earliest = max(begin - len(LEAD), 0)
    sure = _confirmed_lead(frames, earliest)
    stop = min(begin + MOST_FRAMES, len(frames)) if sure is None else sure.start
    first_chained = _first_chained(frames, array, begin, stop)
    damaged = _damaged_lead(frames, begin, stop)
    if damaged is not None and (first_chained is None or damaged.first <= first_chained):
        return damaged
    if first_chained is not None:
        near = max(begin, first_chained - 2 * LONGEST)
        return _bare_lead(frames, near, first_chained) or _torn(frames, begin, first_chained)
    return sure or _bare_lead(frames, earliest, len(frames))


def _first_chained(frames: bytes, array: Frames, begin: int, stop: int) -> int | None:
    """Where the first line starts whose link agrees with the next, from `begin` to `stop`."""
    if begin < stop and Links(frames, stop).confirmed(begin):
        return begin
    # The 00 that ends the line before may have been taken for leader.
    chained = chained_lines(array, max(begin - 1, 0), stop)
    return int(chained[0]) if chained.size else None


def leads(frames: bytes, begin: int, stop: int) -> Iterator[tuple[int, int]]:
    """The runs of three D3 or more from `begin` up to `stop`: first frame, and frame after."""
    at = frames.find(LEAD, begin, stop)
    for _ in range(_MOST_TRIED):
        if at < 0:
            return
        run = _RUN.match(frames, at, stop)
        assert run is not None
        yield run.span()
        at = frames.find(LEAD, run.end(), stop)


def _confirmed_lead(frames: bytes, begin: int) -> Head | None:
    """The first lead whose first line its link, its text or the lines after it bear out."""
    for start, after in leads(frames, begin, len(frames)):
        links = Links(frames, after + MOST_FRAMES)
        # The name may have been lost or read twice, so the line may start one to either side.
        for first in (after + 1, after, after + 2):
            if links.confirmed(first):
                return _head(frames, start, after, first)
        if _lines_follow(links, after + 1):
            return _head(frames, start, after, after + 1)
    return None


def _lines_follow(links: Links, first: int) -> bool:
    """Whether a line stands at `first`, or is lost but followed by ones that agree."""
    if links.plausible(first) and links.ends_after(first):
        return True
    at = first
    for _ in range(SHORTEST):
        after = links.after(at)
        if after is None or after - first > LONGEST:
            return False
        if links.confirmed(after) or (links.plausible(after) and links.ends_after(after)):
            return True
        at = after
    return False


def _head(frames: bytes, start: int, after: int, first: int) -> Head:
    """The head with a lead of frames `start` up to `after`, however many D3 those are."""
    if after - start >= _LEADER_RUN:
        start = after - len(LEAD)
    whole = after - start == len(LEAD) and first == after + 1
    name = frames[first - 1] if first > after else None
    return Head(start, first, Lead.WHOLE if whole else Lead.DAMAGED, name)


def _damaged_lead(frames: bytes, begin: int, stop: int) -> Head | None:
    """The first lead with one byte wrong or missing, before a line that the next bears out."""
    for match in islice(_NEARLY_LEAD.finditer(frames, begin, stop), _MOST_TRIED):
        after = match.end()
        links = Links(frames, after + MOST_FRAMES)
        for first in (after + 1, after + 2):
            if links.confirmed(first) or (links.plausible(first) and links.ends_after(first)):
                start = match.start()
                # The first of the three may be the damaged one; blank tape is not.
                if after - start == 2 and first == after + 1 and start and frames[start - 1]:
                    start -= 1
                return Head(start, first, Lead.DAMAGED, frames[first - 1])
    return None


def _bare_lead(frames: bytes, begin: int, stop: int) -> Head | None:
    """A lead that nothing after it bears out."""
    for start, after in leads(frames, begin, stop):
        if after + 1 < len(frames) and after - start < _LEADER_RUN:
            return _head(frames, start, after, after + 1)
    return None


def _torn(frames: bytes, begin: int, chained: int) -> Head:
    """The head of lines without a lead, the first that agree starting at `chained`."""
    links = Links(frames, len(frames))
    address = links.address(chained)
    first = chained
    while address:
        # A link that begins with 00 looks like the end of the leader.
        low = max(begin - 1, first - LONGEST, 0)
        before = frames.rfind(address.to_bytes(2, "little"), low, first - SHORTEST + 2)
        if before < 0 or links.after(before) != first:
            break
        first, address = before, links.address(before)
    left = frames[max(begin, first - LONGEST) : first].rsplit(b"\0\0", 1)[-1]
    if LEAD[0] in left and len(left) <= len(LEAD) + 1:
        return Head(first - len(left), first, Lead.DAMAGED, left[-1])
    return Head(first - len(left), first, Lead.TORN_OFF, None)
