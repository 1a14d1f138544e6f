"""Machines that tests script: at the far end of a real pty, or in place of pyserial's port.

A scripted machine does a step of its script whenever the station lets time pass, and time passes
only then, so nothing here depends on how fast the test runs. What is sent is waited for until the
kernel has brought it across, so that a step is over when it is.
"""

import os
import select
import time
import tty
from collections.abc import Callable, Generator

import serial

from server.station.line import Line, open_line
from server.station.line_settings import LineSettings

LONGEST_WAIT = 30.0
MOST_PAUSES = 400_000

Script = Generator[None, None, None]


class TurnedClock:
    """Time that passes when somebody pauses, and then the machine does a step."""

    def __init__(self) -> None:
        self.time = 1000.0
        self.step: Callable[[], None] = lambda: None
        self._pauses = 0

    def now(self) -> float:
        return self.time

    def pause(self, seconds: float) -> None:
        self._pauses += 1
        assert self._pauses < MOST_PAUSES, "the pass never came to its end"
        self.time += seconds
        self.step()


class Machine:
    """A reader or punch on a pty; `script` is a generator that yields after each step."""

    def __init__(self, clock: TurnedClock) -> None:
        self.clock = clock
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self.master, False)
        self.port = os.ttyname(self._slave)
        self.heard = bytearray()
        self._script: Script = iter(())  # type: ignore[assignment]  # nothing to do yet

    def line(self, **settings) -> Line:
        return open_line(LineSettings(port=self.port, **({"baud": 9600} | settings)))

    def follow(self, script: Script) -> None:
        self._script = script
        self.clock.step = self.step

    def step(self) -> None:
        self.hear()
        next(self._script, None)

    def hear(self, wait: float = 0.0) -> None:
        while select.select([self.master], [], [], wait)[0]:
            self.heard += os.read(self.master, 65536)

    def send(self, data: bytes) -> None:
        """Send, and wait until the other end has it waiting."""
        before = _waiting(self._slave)
        os.write(self.master, data)
        expected = before + len(data) + data.count(0xFF)
        deadline = time.monotonic() + LONGEST_WAIT
        while _waiting(self._slave) < expected:
            assert time.monotonic() < deadline
            time.sleep(0.0005)

    def feed(self, frames: bytes, portion: int = 40) -> Script:
        """Send `frames`, a portion each step."""
        for at in range(0, len(frames), portion):
            self.send(frames[at : at + portion])
            yield

    def idle(self, seconds: float) -> Script:
        until = self.clock.now() + seconds
        while self.clock.now() < until:
            yield

    def until_heard(self, number: int) -> Script:
        while len(self.heard) < number:
            yield

    def hang_up(self) -> None:
        if self.master >= 0:
            os.close(self.master)
            self.master = -1
            self.clock.step = lambda: None

    def close(self) -> None:
        self.hang_up()
        os.close(self._slave)


def _waiting(descriptor: int) -> int:
    import fcntl
    import struct
    import termios

    answer = fcntl.ioctl(descriptor, termios.FIONREAD, struct.pack("I", 0))
    return int(struct.unpack("I", answer)[0])


class ScriptedPort:
    """What pyserial's port shows of wires that a pty has not: CTS, and a queue that drains.

    The queue loses a frame each step while CTS is on; `arriving` is what reads give, piece by
    piece.
    """

    def __init__(self, clock: TurnedClock, arriving: tuple[bytes, ...] = ()) -> None:
        clock.step = self.step
        self.cts = True
        self.script: Script = iter(())  # type: ignore[assignment]  # nothing to do yet
        self.arriving = list(arriving)
        self.queue = bytearray()
        self.gone = bytearray()
        self.closed = False
        self.broken: Exception | None = None

    @property
    def in_waiting(self) -> int:
        return len(self.arriving[0]) if self.arriving else 0

    @property
    def out_waiting(self) -> int:
        if self.broken:
            raise self.broken
        return len(self.queue)

    def step(self) -> None:
        next(self.script, None)
        if self.cts and self.queue:
            self.gone.append(self.queue.pop(0))

    def read(self, size: int, /) -> bytes:
        return self.arriving.pop(0) if self.arriving else b""

    def write(self, data: bytes, /) -> int:
        if self.broken:
            raise self.broken
        self.queue += data
        return len(data)

    def reset_output_buffer(self) -> None:
        self.queue.clear()

    def close(self) -> None:
        self.closed = True

    def line(self, *, marked: bool = False, **settings) -> Line:
        made = LineSettings(port="scripted", **({"baud": 9600} | settings))
        return Line(self, made, ready=lambda: True, marked=marked)


LOST = serial.SerialException("device reports readiness to read but returned no data")
