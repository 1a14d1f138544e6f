"""What is wrong with a damaged line of a crunched program, put as findings."""

from typing import Final

from server.tape.basic.links import HEADER, LONGEST
from server.tape.basic.resync import SLIP, signed
from server.tape.findings import Finding, Severity

_COMPARE: Final = "read the tape again here and compare the two readings"
_LINK_MENDS: Final = "the text is whole: the interpreter makes new links when it loads the program"

_MOST_COUNTED: Final = 4096
"""More frames are not said to be missing: it is the addresses that are wrong."""


class LineFaults:
    """Findings on the line at frame `at`, which stood at `address` and has the link `link`."""

    def __init__(self, frames: bytes, at: int, address: int | None, link: int) -> None:
        self._frames = frames
        self._at = at
        self._address = address
        self._link = link

    def of_line(self, after: int, following: int | None, *, ends: bool) -> list[Finding]:
        """What is wrong with the line, when the next starts at frame `after`, address `following`.

        Empty when link, length and text end agree after all.
        """
        if ends and self._address is not None:
            following = self._end_address(after)
        surplus = self._surplus(after, following)
        if surplus:
            if ends and surplus < -SLIP:
                return [self._cut_short(after, -surplus)]
            return [self._slipped(after, surplus)]
        found = []
        if following is not None and self._link != following:
            found.append(self._wrong_link(following))
        return found + self._wrong_ends(after)

    def _end_address(self, after: int) -> int:
        """Where the zero link stood: by the link if it is a little off, else by the frames."""
        assert self._address is not None
        by_frames = (self._address + after - self._at) & 0xFFFF
        wrong_holes = (by_frames ^ self._link).bit_count()
        length = (self._link - self._address) & 0xFFFF
        return by_frames if wrong_holes == 1 or length > LONGEST else self._link

    def _surplus(self, after: int, following: int | None) -> int:
        """How many frames too many the line has; negative where some are missing."""
        if self._address is None or following is None:
            return 0
        return after - self._at - signed(following - self._address)

    def _slipped(self, after: int, surplus: int) -> Finding:
        count = abs(surplus)
        which = "too many" if surplus > 0 else "too few"
        message = f"the line has {count} {_frames(count)} {which}, by the links before and after it"
        if count > _MOST_COUNTED:
            message = "the links before and after this line contradict each other"
        return self._damaged(self._at, after - self._at, message)

    def _cut_short(self, after: int, missing: int) -> Finding:
        return Finding(
            kind="record-truncated",
            severity=Severity.DAMAGE,
            frame=self._at,
            frames=after - self._at,
            message=f"the tape goes blank {missing} frames before the line ends by its link",
            advice="look for the rest of the tape: this line and any after it are missing",
        )

    def _wrong_link(self, following: int) -> Finding:
        return Finding(
            kind="link-mismatch",
            severity=Severity.DAMAGE,
            frame=self._at,
            frames=HEADER // 2,
            message=f"the link reads {self._link:04X}; the next line stood at {following:04X}",
            advice=f"{_COMPARE}; {_LINK_MENDS}",
        )

    def _wrong_ends(self, after: int) -> list[Finding]:
        found = []
        end = after - 1
        inside = self._frames.find(b"\0", self._at + HEADER, end)
        if inside >= 0:
            found.append(self._damaged(inside, 1, "a blank frame stands inside the line"))
        if self._frames[end]:
            found.append(
                self._damaged(
                    end, 1, f"the frame that should end the line reads {self._frames[end]:02X}"
                )
            )
        return found

    def zero_link(self) -> Finding:
        """The link that should be zero, at the end of the program."""
        return Finding(
            kind="link-mismatch",
            severity=Severity.DAMAGE,
            frame=self._at,
            frames=HEADER // 2,
            message=f"the link that ends the program reads {self._link:04X}, not 0000",
            advice=_COMPARE,
        )

    def extra_frames(self, start: int) -> Finding:
        """Frames between the line before and the one that starts at `start`."""
        count = start - self._at
        belong = "belongs" if count == 1 else "belong"
        return self._damaged(self._at, count, f"{count} {_frames(count)} here {belong} to no line")

    def broken_off(self, stop: int, *, too_long: bool) -> Finding:
        """The program stops without an end, at `stop`."""
        return Finding(
            kind="record-truncated",
            severity=Severity.DAMAGE,
            frame=min(self._at, max(stop - 1, 0)),
            frames=max(stop - self._at, 1),
            message="the program is longer than any memory for it; the rest is not read"
            if too_long
            else "the program breaks off here: no zero link ends it",
            advice="look for the rest of the tape, and whether other data follows on it",
        )

    def _damaged(self, frame: int, frames: int, message: str) -> Finding:
        return Finding("line-damaged", Severity.DAMAGE, frame, frames, message, _COMPARE)


def _frames(count: int) -> str:
    return "frame" if count == 1 else "frames"
