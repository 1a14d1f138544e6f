"""How far a pass has come: one line that is written over on a terminal, plain lines elsewhere."""

from collections import deque
from typing import IO, Final

from server.station.clock import Clock
from server.tape.estimate import length_mm

_OFTEN: Final = 0.2
_SELDOM: Final = 10.0
"""Seconds between two lines, on a terminal and elsewhere."""

_WINDOW: Final = 10.0
"""Seconds over which the rate is taken."""


class Progress:
    """Writes frames, millimetres, rate and time left; `total` is None where it is not known.

    `rate` is what the machine is said to do, until it has shown what it does.
    """

    def __init__(self, stream: IO[str], clock: Clock, *, total: int | None, rate: float) -> None:
        self._stream = stream
        self._clock = clock
        self._total = total
        self._rate = rate
        self._terminal = stream.isatty()
        self._every = _OFTEN if self._terminal else _SELDOM
        now = clock.now()
        self._seen = deque([(now, 0)])
        self._shown_at = now
        self._shown_length = 0

    def at(self, frames: int) -> None:
        """Say that `frames` have come or gone, where it is time to."""
        now = self._clock.now()
        if now - self._shown_at < self._every:
            return
        self._shown_at = now
        self._seen.append((now, frames))
        while len(self._seen) > 2 and now - self._seen[0][0] > _WINDOW:
            self._seen.popleft()
        self._write(self._line(frames))

    def end(self) -> None:
        """Leave the line, so that what is written next begins another."""
        if self._terminal and self._shown_length:
            self._stream.write("\n")
            self._stream.flush()
            self._shown_length = 0

    def _write(self, line: str) -> None:
        if self._terminal:
            padded = line.ljust(self._shown_length)
            self._shown_length = len(line)
            self._stream.write(f"\r{padded}")
        else:
            self._stream.write(f"{line}\n")
        self._stream.flush()

    def _line(self, frames: int) -> str:
        (then, before), (now, _) = self._seen[0], self._seen[-1]
        rate = (frames - before) / (now - then)
        said = f"{frames:,} frames, {length_mm(frames):,.1f} mm, {rate:,.1f} a second"
        if self._total is None:
            return said
        left = max(0, self._total - frames) / (rate or self._rate)
        return f"{said}, {duration(left)} left"


def duration(seconds: float) -> str:
    """Seconds in words, in the two largest units."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"
