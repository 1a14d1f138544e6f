"""Readers and punches that run beside a command, each on a pty of its own.

Every wait here has an end, and nothing is told by the clock.
"""

import fcntl
import os
import select
import sys
import termios
import threading
import time
import tty
from collections.abc import Callable

from server.station.control import DC1
from tests.station.devices import LONGEST_WAIT


class Reader(threading.Thread):
    """A reader that runs from DC1 until all of `frames` are through, then `ending` happens."""

    def __init__(self, frames: bytes, ending: Callable[["Reader"], None] | None = None) -> None:
        super().__init__(daemon=True)
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.heard = bytearray()
        self._frames = frames
        self._ending = ending or (lambda _: None)

    def run(self) -> None:
        self.wait_for(DC1)
        for at in range(0, len(self._frames), 64):
            os.write(self.master, self._frames[at : at + 64])
        self._ending(self)

    def wait_for(self, character: int) -> None:
        deadline = time.monotonic() + LONGEST_WAIT
        while character not in self.heard:
            assert time.monotonic() < deadline
            if select.select([self.master], [], [], 0.05)[0]:
                self.heard += os.read(self.master, 4096)

    def hang_up(self) -> None:
        # What was sent must have been taken: a pty throws it away when the far end closes.
        self.until_taken()
        os.close(self.master)
        self.master = -1

    def until_taken(self) -> None:
        deadline = time.monotonic() + LONGEST_WAIT
        quiet = 0
        while quiet < 20:
            assert time.monotonic() < deadline
            quiet = 0 if _waiting(self.slave) else quiet + 1
            time.sleep(0.01)

    def close(self) -> None:
        self.join(LONGEST_WAIT)
        for descriptor in (self.master, self.slave):
            if descriptor >= 0:
                os.close(descriptor)


def _waiting(descriptor: int) -> int:
    return int.from_bytes(fcntl.ioctl(descriptor, termios.FIONREAD, bytes(4)), sys.byteorder)


class Punch(threading.Thread):
    """A punch that takes what comes until the line is closed or it `hears` enough."""

    def __init__(self, ending: Callable[["Punch"], None] | None = None, hears: int = 10**9) -> None:
        super().__init__(daemon=True)
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.heard = bytearray()
        self.over = threading.Event()
        self._ending = ending
        self._hears = hears

    def run(self) -> None:
        while not self.over.is_set() and len(self.heard) < self._hears:
            self.take()
        if self._ending is not None:
            self._ending(self)

    def take(self, wait: float = 0.02) -> bool:
        if not select.select([self.master], [], [], wait)[0]:
            return False
        self.heard += os.read(self.master, 4096)
        return True

    def close(self) -> None:
        self.over.set()
        self.join(LONGEST_WAIT)
        while self.take(0.05):
            pass
        os.close(self.master)
        os.close(self.slave)
