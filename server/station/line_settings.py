"""How a serial line is set, and how many frames a second it can carry.

Sources: a start bit, then 5 to 8 data bits, perhaps a parity bit, then 1, 1.5 or 2 stop bits make
one character (start-stop working as in EIA RS-404 and ITU-T V.4, from memory). 110 baud with two
stop bits, so 11 bits and 10 frames a second, is what teleprinters of eight levels run at: common
practice, no source.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from server.station.errors import NotPossible

DATA_BITS: Final = (5, 6, 7, 8)
STOP_BITS: Final = (1.0, 1.5, 2.0)
TELEPRINTER_BAUD: Final = 110

_START_BITS = 1


class LineParity(StrEnum):
    """What the parity bit of the line makes of the data bits."""

    NONE = "none"
    EVEN = "even"
    ODD = "odd"
    MARK = "mark"
    SPACE = "space"


class Flow(StrEnum):
    """How either end holds the other back."""

    NONE = "none"
    XON_XOFF = "xon-xoff"
    RTS_CTS = "rts-cts"


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSettings:
    """A port and how it is set; `stop_bits` of None are 2 at 110 baud and 1 above.

    Raises:
        NotPossible: a number is none that a serial line can have.
    """

    port: str
    baud: int = TELEPRINTER_BAUD
    data_bits: int = 8
    parity: LineParity = LineParity.NONE
    stop_bits: float | None = None
    flow: Flow = Flow.NONE

    def __post_init__(self) -> None:
        if self.baud <= 0:
            raise NotPossible(f"{self.baud} baud is not a rate", mend="Give one above 0.")
        if self.data_bits not in DATA_BITS:
            raise NotPossible(
                f"No serial line has {self.data_bits} data bits", mend="Give 5, 6, 7 or 8."
            )
        if self.stops not in STOP_BITS:
            raise NotPossible(
                f"No serial line has {self.stops:g} stop bits", mend="Give 1, 1.5 or 2."
            )

    @property
    def stops(self) -> float:
        """Stop bits, chosen where none are given."""
        if self.stop_bits is not None:
            return self.stop_bits
        return 2 if self.baud <= TELEPRINTER_BAUD else 1

    @property
    def bits_per_frame(self) -> float:
        """How many bit times one frame takes on the line."""
        return _START_BITS + self.data_bits + (self.parity is not LineParity.NONE) + self.stops

    @property
    def frames_per_second(self) -> float:
        """The most frames that the line can carry in a second."""
        return self.baud / self.bits_per_frame

    @property
    def in_words(self) -> str:
        """The settings as people at the machine say them."""
        return (
            f"{self.port}: {self.baud} baud, {self.data_bits} data bits, parity {self.parity}, "
            f"{self.stops:g} stop bits, flow control {self.flow}; "
            f"at most {self.frames_per_second:,.1f} frames a second"
        )
