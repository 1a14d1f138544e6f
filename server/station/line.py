"""A serial line, opened: frames in, frames out, never waiting, and clear words when it fails.

A punch is never given more than it can be asked about: `send` takes what the operating system
has room for at this moment, and `unsent` says how much of that is still on this side.
"""

import errno
import grp
import os
import select
import termios
from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple, Protocol, TypeVar

import serial

from server.station.errors import LineLost, PortUnusable
from server.station.line_settings import Flow, LineParity, LineSettings
from server.station.marks import Fault, Unmarker

_AT_ONCE: Final = 4096
"""Bytes that the terminal driver of Linux keeps for us (N_TTY_BUF_SIZE); more is never there."""

_PARITIES: Final = {
    LineParity.NONE: serial.PARITY_NONE,
    LineParity.EVEN: serial.PARITY_EVEN,
    LineParity.ODD: serial.PARITY_ODD,
    LineParity.MARK: serial.PARITY_MARK,
    LineParity.SPACE: serial.PARITY_SPACE,
}

Answer = TypeVar("Answer")

_BUSY: Final = (errno.EBUSY, errno.EAGAIN)
_MISSING: Final = (errno.ENOENT, errno.ENXIO, errno.ENODEV)


class Port(Protocol):
    """What is used of pyserial's `Serial`."""

    @property
    def in_waiting(self) -> int:
        """Bytes that have arrived and were not taken."""

    @property
    def out_waiting(self) -> int:
        """Bytes that were given and have not left."""

    @property
    def cts(self) -> bool:
        """Whether the other end is clear to send to."""

    def read(self, size: int, /) -> bytes:
        """What has arrived."""

    def write(self, data: bytes, /) -> int | None:
        """Give what there is room for."""

    def reset_output_buffer(self) -> None:
        """Throw away what has not left."""

    def close(self) -> None:
        """Give the port back."""


class Arrived(NamedTuple):
    """What came in since it was last asked, and which frames of it came damaged."""

    frames: bytes
    faults: tuple[Fault, ...]


class Line:
    """An open line; `ready` says whether the port would take a byte at this moment.

    `marked` says that the operating system marks damaged frames (see `marks`).
    """

    def __init__(
        self,
        port: Port,
        settings: LineSettings,
        *,
        ready: Callable[[], bool],
        marked: bool = False,
    ) -> None:
        self._port = port
        self.settings = settings
        self._ready = ready
        self._unmarker = Unmarker() if marked else None

    def receive(self) -> Arrived:
        """Whatever has come in; nothing where nothing has.

        Raises:
            LineLost: the other end, or the port, is gone.
        """
        data = self._asked(lambda: self._port.read(_AT_ONCE))
        if self._unmarker is None:
            return Arrived(data, ())
        return Arrived(*self._unmarker.take(data))

    def waiting(self) -> int:
        """How many bytes have come in and were not received yet."""
        return self._asked(lambda: self._port.in_waiting)

    def send(self, data: bytes) -> int:
        """Give the port as much of `data` as it takes now; how much that was.

        Raises:
            LineLost: the other end, or the port, is gone.
        """
        if not data or not self._asked(self._ready):
            return 0
        return self._asked(lambda: self._port.write(data)) or 0

    def unsent(self) -> int:
        """How many bytes were given and have not left this machine."""
        return self._asked(lambda: self._port.out_waiting)

    def held_by_wire(self) -> bool:
        """Whether the other end holds us back by RTS/CTS."""
        return self.settings.flow is Flow.RTS_CTS and not self._asked(lambda: self._port.cts)

    def discard(self) -> int:
        """Throw away what has not left, so that it does not when the port is closed."""
        left = self.unsent()
        self._asked(self._port.reset_output_buffer)
        return left

    def close(self) -> None:
        """Give the port back."""
        self._port.close()

    def _asked(self, ask: Callable[[], Answer]) -> Answer:
        try:
            return ask()
        except OSError as error:  # pyserial's own errors are of this kind
            raise LineLost(
                f"The line {self.settings.port} failed: {_reason(error)}.",
                mend="Look at the cable, the plug and the machine's power, then go on from there.",
            ) from None


def open_line(settings: LineSettings) -> Line:
    """The line that `settings` describe, opened for this process alone.

    XON and XOFF are left to us rather than to the driver, which would take every DC1 and DC3 off
    a tape that holds such frames.

    Raises:
        PortUnusable: the port is missing, busy, forbidden, or cannot be set so.
    """
    try:
        port = serial.Serial(
            settings.port,
            baudrate=settings.baud,
            bytesize=settings.data_bits,
            parity=_PARITIES[settings.parity],
            stopbits=settings.stops,
            rtscts=settings.flow is Flow.RTS_CTS,
            timeout=0,
            write_timeout=0,
            exclusive=True,
        )
    except (OSError, ValueError, termios.error) as error:
        raise _unusable(settings, error) from None
    _mark_damage(port.fileno())
    return Line(port, settings, ready=lambda: _has_room(port.fileno()), marked=True)


def _has_room(descriptor: int) -> bool:
    # pyserial's own waiting for room cannot say how much was written when its time is up.
    return bool(select.select([], [descriptor], [], 0)[1])


def _mark_damage(descriptor: int) -> None:
    """Have the driver check parity and framing, and mark what breaks them."""
    attributes = termios.tcgetattr(descriptor)
    attributes[0] |= termios.INPCK | termios.PARMRK
    attributes[0] &= ~(termios.IGNPAR | termios.BRKINT | termios.IGNBRK | termios.ISTRIP)
    termios.tcsetattr(descriptor, termios.TCSANOW, attributes)


def _unusable(settings: LineSettings, error: Exception) -> PortUnusable:
    number = error.errno if isinstance(error, OSError) else None
    port = settings.port
    if number in _MISSING:
        return PortUnusable(
            f"There is no port {port}.", mend=f"Plug it in; the ports here are {_ports()}."
        )
    if number in _BUSY:
        return PortUnusable(
            f"The port {port} is in use.", mend="End the other program that has it open."
        )
    if number in (errno.EACCES, errno.EPERM):
        return PortUnusable(
            f"You may not use the port {port}.",
            mend=f"Ask the machine's administrator to put you into the group {_group(port)}.",
        )
    if number is None and isinstance(error, OSError):
        return PortUnusable(f"{port} is no serial port.", mend=f"The ports here are {_ports()}.")
    return PortUnusable(
        f"The port {port} cannot be set so: {_reason(error)}.",
        mend="Choose a rate and bits that this port has.",
    )


def _ports() -> str:
    from serial.tools import list_ports  # noqa: PLC0415 - slow, and for this sentence only

    return ", ".join(each.device for each in list_ports.comports()) or "none"


def _group(port: str) -> str:
    try:
        return grp.getgrgid(Path(port).stat().st_gid).gr_name
    except (OSError, KeyError):
        return "that owns it"


def _reason(error: Exception) -> str:
    number = error.errno if isinstance(error, OSError) else None
    return os.strerror(number) if number else str(error)
