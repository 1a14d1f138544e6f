"""Reading a tape over a line: every frame is on the disk soon after it came.

A pass ends on a trailer, on a line that has gone quiet, after a number of frames, by hand, or
when the line fails. Nothing that comes is taken for control: DC1 and DC3 are frames like others
on a tape. What they hold back here is the reader, by being sent to it.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from server.station.clock import Clock
from server.station.control import START_READER, STOP_READER
from server.station.errors import LineLost
from server.station.line import Line
from server.station.line_settings import Flow
from server.station.marks import Fault
from server.station.part_file import PartFile
from server.station.progress import Progress
from server.station.stopping import Stop
from server.tape.image import Image

TICK: Final = 0.01
"""Seconds between two looks at the line: five frames of the fastest reader."""

HIGH_WATER: Final = 2048
"""Bytes waiting at which a reader is held back, half of what a terminal driver keeps."""

SETTLE_SECONDS: Final = 1.0
"""How long a reader that was told to stop may take to come to rest."""

_TAIL: Final = 400
"""Frames that are looked at to tell whether a quiet line was the end of the tape."""


class Ending(StrEnum):
    """Why a pass ended."""

    TRAILER = "trailer"
    COUNT = "count of frames"
    QUIET = "quiet line"
    SILENT = "nothing came"
    HAND = "stopped by hand"
    LOST = "line lost"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingPlan:
    """What to read, and when it is over; 0 takes a reason to stop away, times are in seconds.

    `trailer` blank frames in a row, after a frame that is not blank, are the end of the tape;
    so is a line on which nothing came for `quiet`. Before the first frame, `patience` holds.
    """

    reader_control: bool = False
    frames: int = 0
    trailer: int = 200
    quiet: float = 10.0
    patience: float = 120.0


@dataclass(slots=True)
class Pass:
    """What became of a pass; `whole` says that the tape came to its end."""

    ending: Ending = Ending.HAND
    frames: int = 0
    faults: list[Fault] = field(default_factory=list)
    lost: LineLost | None = None
    whole: bool = False


class _Watch:
    """What has come so far, and whether that is the end."""

    def __init__(self, plan: ReadingPlan, clock: Clock) -> None:
        self._plan = plan
        self._clock = clock
        self._content_seen = False
        self._blanks = 0
        self._last = clock.now()
        self.frames = 0
        self.tail = b""

    def take(self, frames: bytes) -> None:
        self._last = self._clock.now()
        self.frames += len(frames)
        self.tail = (self.tail + frames)[-_TAIL:]
        content = frames.rstrip(b"\0")
        if content:
            self._content_seen = True
            self._blanks = 0
        self._blanks += len(frames) - len(content)

    def ending(self) -> Ending | None:
        plan, waited = self._plan, self._clock.now() - self._last
        if plan.trailer and self._content_seen and self._blanks >= plan.trailer:
            return Ending.TRAILER
        if plan.frames and self.frames >= plan.frames:
            return Ending.COUNT
        if not self.frames:
            return Ending.SILENT if waited >= plan.patience else None
        return Ending.QUIET if plan.quiet and waited >= plan.quiet else None

    @property
    def ends_in_trailer(self) -> bool:
        """Whether the last frames are what tapes end with: blank, rubbed out, or all the same."""
        image = Image(self.tail)
        return image.data_span().stop < len(image)


class TapeReader:
    """One pass of a tape."""

    def __init__(
        self,
        line: Line,
        plan: ReadingPlan,
        part: PartFile,
        *,
        clock: Clock,
        stop: Stop,
        progress: Progress,
    ) -> None:
        self._line = line
        self._plan = plan
        self._part = part
        self._clock = clock
        self._stop = stop
        self._progress = progress
        self._watch = _Watch(plan, clock)
        self._pass = Pass()
        self._held_back = False

    def read(self) -> Pass:
        """Read until there is a reason to stop; what came is in the part, whatever happens."""
        done = self._pass
        try:
            self._control(START_READER)
            done.ending = self._follow()
            self._control(STOP_READER)
            self._settle()
        except LineLost as lost:
            done.ending, done.lost = Ending.LOST, lost
        done.frames = self._watch.frames
        done.whole = self._is_whole(done.ending)
        self._progress.end()
        return done

    def _is_whole(self, ending: Ending) -> bool:
        if ending is Ending.QUIET:
            meant = not self._plan.trailer and not self._plan.frames
            return meant or (not self._plan.frames and self._watch.ends_in_trailer)
        return ending in (Ending.TRAILER, Ending.COUNT)

    def _follow(self) -> Ending:
        while not self._stop.asked:
            if self._take():
                self._progress.at(self._watch.frames)
            else:
                self._clock.pause(TICK)
            ending = self._watch.ending()
            if ending is not None:
                return ending
        return Ending.HAND

    def _take(self) -> bool:
        """Write down what has come in; whether anything had."""
        self._hold_back(self._line.waiting() >= HIGH_WATER)
        arrived = self._line.receive()
        if not arrived.frames:
            return False
        self._part.write(arrived.frames, self._clock.now())
        self._pass.faults += arrived.faults
        self._watch.take(arrived.frames)
        return True

    def _hold_back(self, wanted: bool) -> None:
        """Hold a reader back that is faster than this disk, where the line is set for it."""
        if self._line.settings.flow is Flow.XON_XOFF and wanted is not self._held_back:
            self._line.send(STOP_READER if wanted else START_READER)
            self._held_back = wanted

    def _control(self, character: bytes) -> None:
        if self._plan.reader_control:
            self._line.send(character)

    def _settle(self) -> None:
        """Take in what a reader still sends while it comes to rest."""
        if not self._plan.reader_control:
            return
        until = self._clock.now() + SETTLE_SECONDS
        while self._clock.now() < until:
            if not self._take():
                self._clock.pause(TICK)
