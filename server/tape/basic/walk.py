"""The lines of a crunched program one after another, whatever has happened to some of them.

While link and text end agree the walk goes on by them; where they disagree it goes on at the next
whole line (`server.tape.basic.resync`).
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

from server.tape.basic.faults import LineFaults
from server.tape.basic.links import HEADER, LONGEST, MOST_FRAMES, SHORTEST, Links
from server.tape.basic.resync import SLIP, Broken, Landing, Resync, signed
from server.tape.findings import Finding

_LINK: Final = 2

_LONGEST_GAP: Final = 4 * LONGEST
"""Frames that may be missing after a line which is believed all the same."""


class Row(NamedTuple):
    """One line: frames `start` up to `stop`; `sound` where nothing was found wrong with it.

    `number` is as read, None where the line is too short to have one; `agreed` where its link
    leads to the next line.
    """

    start: int
    stop: int
    number: int | None
    sound: bool
    agreed: bool


class Walked(NamedTuple):
    """What a walk found: the lines, and the findings of the damaged ones, both in tape order.

    `stop` is the frame after the program; `ended` tells whether the zero link was reached;
    `address` is where the first line stood in memory, None where that is not known.
    """

    rows: Sequence[Row]
    faults: Sequence[Finding]
    stop: int
    ended: bool
    address: int | None


def walk(frames: bytes, first: int, *, most_lines: int = MOST_FRAMES) -> Walked:
    """The lines of the program in `frames` whose first line starts at `first`; never raises.

    The walk stops after `most_lines`, as if the tape had not been looked at beyond.
    """
    walker = _Walker(frames, first)
    walker.run(most_lines)
    return Walked(walker.rows, walker.faults, walker.stop, walker.ended, walker.address)


class _Walker:
    def __init__(self, frames: bytes, first: int) -> None:
        self.frames = frames
        self.links = Links(frames, first + MOST_FRAMES)
        self.resync = Resync(self.links, first)
        self.first = first
        self.rows: list[Row] = []
        self.faults: list[Finding] = []
        self.stop = first
        self.ended = False
        self.address: int | None = None
        self.last_number = -1

    def run(self, most_lines: int) -> None:
        at, address = self.first, None
        while True:
            if address is not None:
                at, address = self._follow(at, address, most_lines)
            self.stop = at
            link = self.links.word(at)
            if len(self.rows) >= most_lines:
                return
            if link == 0 and self._is_end(at, address):
                self._end(at)
                return
            landing = None if link is None else self._next(at, address, link)
            if landing is None:
                self._break_off(at)
                return
            if landing.ends:
                self._end(landing.at)
                return
            at, address = landing.at, landing.address

    def _follow(self, at: int, address: int, most_lines: int) -> tuple[int, int]:
        """Along lines whose link and text end agree, to one that does not; this is the hot loop."""
        frames, rows, last = self.frames, self.rows, self.last_number
        limit = self.links.limit - SHORTEST
        while at <= limit and len(rows) < most_lines:
            after = frames.find(0, at + HEADER, at + LONGEST) + 1
            link = frames[at] | frames[at + 1] << 8
            if after == 0 or not link or (link - address) & 0xFFFF != after - at:
                break
            number = frames[at + 2] | frames[at + 3] << 8
            rows.append(Row(at, after, number, True, True))
            last = max(last, number)
            at, address = after, link
        self.last_number = last
        return at, address

    def _next(self, at: int, address: int | None, link: int) -> Landing | None:
        """Past the line at `at`: the first of the program, or a damaged one."""
        after = self.links.after(at)
        if address is None and link and after is not None and self._agrees(at, after, link):
            self.address = (link - (after - at)) & 0xFFFF
            self._keep(Row(at, after, self.links.word(at + _LINK), sound=True, agreed=True))
            return Landing(after, link)
        return self._land(at, address, link)

    def _agrees(self, at: int, after: int, link: int) -> bool:
        """Whether the first line, at `at`, ends where its link leads, as far as can be told."""
        if self.links.address(after) == link or self.links.word(after) == 0:
            return True
        return self._is_next_damaged(at, after, link)

    def _is_next_damaged(self, at: int, after: int, link: int) -> bool:
        """Whether the first line, at `at`, is whole and it is the second that disagrees with it.

        Nothing before the first line bears its link out, so the likelier damage is believed.
        """
        own = self.links.address(after)
        if not self.links.plausible(at):
            return False
        if own is not None and self.links.confirmed(after):
            # A frame lost or repeated in the second line, against a wrong hole in this link.
            slip = abs(signed(own - link))
            return slip == 1 or (slip <= SLIP and (own ^ link).bit_count() > 1)
        if self.resync.displaced(after, link) is not None:
            return True
        second = Broken(after, link, self.links.word(after) or 0, self.last_number)
        beyond = self.resync.next_line(second)
        if beyond is None or beyond.address is None:
            return False
        missing = signed(beyond.address - link - (beyond.at - after))
        return -SLIP <= missing <= _LONGEST_GAP

    def _keep(self, row: Row) -> None:
        self.rows.append(row)
        if row.sound and row.number is not None and self.last_number < row.number:
            self.last_number = row.number

    def _is_end(self, at: int, address: int | None) -> bool:
        """Whether the zero link at `at` ends the program, and is not a line's damaged link."""
        if self.links.plausible(at, self.last_number):
            return False
        return self.resync.displaced(at, address) is None

    def _end(self, at: int) -> None:
        self.stop, self.ended = at + _LINK, True

    def _land(self, at: int, address: int | None, link: int) -> Landing | None:
        """Past the damage at `at`: what was wrong is noted, and where the walk goes on."""
        faults = LineFaults(self.frames, at, address, link)
        if not any(self.frames[at + _LINK : at + _LINK + 2 * SHORTEST]):
            # Nothing but blank tape follows: the end, with a hole too many or frames too few.
            if link.bit_count() > 1:
                return None
            self.faults.append(faults.zero_link())
            return Landing(at, None, ends=True)
        displaced = self.resync.displaced(at, address)
        if displaced is not None:
            self.faults.append(faults.extra_frames(displaced))
            return Landing(displaced, self.links.address(displaced))
        landing = self.resync.next_line(Broken(at, address, link, self.last_number))
        if landing is not None:
            self._keep_damaged(faults, at, landing)
        return landing

    def _keep_damaged(self, faults: LineFaults, at: int, landing: Landing) -> None:
        found = faults.of_line(landing.at, landing.address, ends=landing.ends)
        self.faults += found
        number = self.links.word(at + _LINK)
        self._keep(Row(at, landing.at, number, sound=not found, agreed=not found))
        if at == self.first and landing.address is not None:
            self.address = (landing.address - (landing.at - at)) & 0xFFFF

    def _break_off(self, at: int) -> None:
        """The program stops at `at` without an end; what is left of a line there is kept."""
        limit = min(self.resync.barrier(at), at + LONGEST)
        self.stop = at + len(self.frames[at:limit].rstrip(b"\0"))
        if self.stop > at + HEADER:
            number = self.links.word(at + _LINK)
            self._keep(Row(at, self.stop, number, sound=False, agreed=False))
        too_long = at + LONGEST > self.links.limit < len(self.frames)
        faults = LineFaults(self.frames, at, None, 0)
        self.faults.append(faults.broken_off(self.stop, too_long=too_long))
