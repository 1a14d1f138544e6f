"""Ctrl-C at the machine: the first asks for a safe stop, the second stops at once.

An interrupt that came between reading frames and writing them down would lose them, so the
signal only sets a flag, which the loops look at between two steps.
"""

import signal
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import Self

_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)

_Handler = Callable[[int, FrameType | None], object] | int | None


class Stop:
    """Whether a stop was asked for, by a signal while this is entered."""

    def __init__(self) -> None:
        self.asked = False
        self._before: dict[signal.Signals, _Handler] = {}

    def __enter__(self) -> Self:
        self._before = {each: signal.signal(each, self._ask) for each in _SIGNALS}
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for each, handler in self._before.items():
            signal.signal(each, handler)

    def _ask(self, number: int, frame: FrameType | None) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True
