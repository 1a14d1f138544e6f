"""Sending frames to a punch: no faster than it runs, and always knowing how many have gone.

The punch is fed by small portions, a tenth of a second's worth, so that it can stop us (DC3, or
CTS) and we can stop it, and so that what the operating system says of its queue gives the exact
number of frames that have left. What sits in the electronics of the port itself, 16 frames or
fewer, has left in that sense.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from server.station.clock import Clock
from server.station.control import asks_for_hold
from server.station.errors import LineLost, NotPossible
from server.station.line import Line
from server.station.line_settings import Flow
from server.station.progress import Progress
from server.station.stopping import Stop

TICK: Final = 0.01
_PORTION_SECONDS: Final = 0.1

_REST_SECONDS: Final = 2.0
"""How long the last portion may take to leave after a stop; it holds a tenth of a second's."""


class PunchEnding(StrEnum):
    """Why punching ended."""

    DONE = "done"
    HAND = "stopped by hand"
    HELD = "the punch took nothing more"
    LOST = "line lost"


@dataclass(frozen=True, slots=True, kw_only=True)
class PunchPlan:
    """What to punch of `frames`: all, or from frame `first` on after a jam.

    Then `overlap` frames before it are punched again, or `fresh_leader` blanks lead in.

    Raises:
        NotPossible: the numbers do not fit the frames, or the rate is none.
    """

    frames: bytes
    rate: float
    first: int = 0
    overlap: int = 0
    fresh_leader: int = 0
    patience: float = 120.0

    def __post_init__(self) -> None:
        if not self.rate > 0:
            raise NotPossible(
                f"{self.rate:g} frames a second is not a rate", mend="Give one above 0."
            )
        if not 0 <= self.first < len(self.frames):
            raise NotPossible(
                f"There is no frame {self.first:,}: the last one is {len(self.frames) - 1:,}.",
                mend="Give the frame to go on with, counted from 0.",
            )
        if not 0 <= self.overlap <= self.first:
            raise NotPossible(
                f"There are no {self.overlap:,} frames before frame {self.first:,}.",
                mend="Give a smaller overlap.",
            )

    @property
    def to_send(self) -> bytes:
        """What goes to the punch."""
        return bytes(self.fresh_leader) + self.frames[self.first - self.overlap :]

    def frame_after(self, sent: int) -> int:
        """The frame of the image that follows when `sent` frames have gone out."""
        return self.first - self.overlap + max(0, sent - self.fresh_leader)


@dataclass(slots=True)
class Punched:
    """What became of it: `sent` frames have gone out for certain, `perhaps` more may have."""

    ending: PunchEnding = PunchEnding.DONE
    sent: int = 0
    perhaps: int = 0
    strays: int = 0
    lost: LineLost | None = None


class TapePuncher:
    """One run of the punch."""

    def __init__(
        self, line: Line, plan: PunchPlan, *, clock: Clock, stop: Stop, progress: Progress
    ) -> None:
        self._line = line
        self._plan = plan
        self._clock = clock
        self._stop = stop
        self._progress = progress
        self._data = plan.to_send
        self._portion = max(1, math.ceil(plan.rate * _PORTION_SECONDS))
        self._given = 0
        self._gone = 0
        self._strays = 0
        self._held = False
        self._credit = 0.0
        self._credited_at = clock.now()
        self._moved_at = self._credited_at

    def punch(self) -> Punched:
        """Punch until all has gone, the punch takes no more, or somebody stops it."""
        try:
            ending = self._feed()
            left = 0 if ending is PunchEnding.DONE else self._come_to_rest()
        except LineLost as lost:
            self._progress.end()
            perhaps = self._given - self._gone
            return Punched(PunchEnding.LOST, self._gone, perhaps, self._strays, lost)
        self._progress.end()
        return Punched(ending, self._given - left, 0, self._strays)

    def _feed(self) -> PunchEnding:
        while self._gone < len(self._data):
            if self._stop.asked:
                return PunchEnding.HAND
            self._listen()
            self._earn()
            if not self._give():
                self._clock.pause(TICK)
            self._count()
            if self._clock.now() - self._moved_at >= self._plan.patience:
                return PunchEnding.HELD
        return PunchEnding.DONE

    def _come_to_rest(self) -> int:
        """Let the last portion leave, or throw away what cannot; how many frames that were."""
        until = self._clock.now() + _REST_SECONDS
        while self._gone < self._given and self._clock.now() < until:
            self._clock.pause(TICK)
            self._count()
        return self._line.discard()

    def _listen(self) -> None:
        """Obey DC3 and DC1; anything else that the punch sends is counted and left."""
        received = self._line.receive().frames
        if not received:
            return
        hold = asks_for_hold(received) if self._line.settings.flow is Flow.XON_XOFF else None
        if hold is None:
            self._strays += len(received)
        else:
            self._held = hold

    def _earn(self) -> None:
        """Let time pass for the punch: so many frames it may have taken since."""
        now = self._clock.now()
        earned = (now - self._credited_at) * self._plan.rate
        self._credited_at = now
        if not self._held:
            # One more than is given at once, so that no part of a frame's time is lost.
            self._credit = min(self._credit + earned, self._portion + 1)

    def _give(self) -> bool:
        """Give the port a portion, if it is time to and there is room; whether any was taken."""
        if self._held or self._line.held_by_wire():
            return False
        room = min(int(self._credit), self._portion - (self._given - self._gone))
        given = self._line.send(self._data[self._given : self._given + room]) if room > 0 else 0
        self._given += given
        self._credit -= given
        return given > 0

    def _count(self) -> None:
        gone = self._given - self._line.unsent()
        if gone > self._gone:
            self._gone = gone
            self._moved_at = self._clock.now()
            self._progress.at(gone)
