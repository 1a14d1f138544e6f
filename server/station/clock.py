"""The time that a pass takes: one for real, which tests replace by one that they turn."""

import time
from typing import Protocol


class Clock(Protocol):
    """What tells the time and lets it pass."""

    def now(self) -> float:
        """Seconds since some moment; never runs backwards."""

    def pause(self, seconds: float) -> None:
        """Let `seconds` pass."""


class RealClock:
    """The time of this machine."""

    def now(self) -> float:
        """Seconds since some moment."""
        return time.monotonic()

    def pause(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(seconds)
