"""The characters that start and stop a reader, and hold back whoever sends to a punch.

Source: ECMA-6 (ISO 646) for DC1 (11) and DC3 (13); that DC1 starts a reader and DC3 stops it, and
that a punch sends DC3 to be left in peace and DC1 to go on, is common practice, no source. Old
machines send them in parity, so channel 8 is not looked at.
"""

from typing import Final

DC1: Final = 0x11
DC3: Final = 0x13

START_READER: Final = bytes([DC1])
STOP_READER: Final = bytes([DC3])

_SEVEN_BITS: Final = 0x7F


def asks_for_hold(received: bytes) -> bool | None:
    """Whether `received` ends in a state of being held; None where it says nothing of it."""
    for byte in reversed(received):
        if byte & _SEVEN_BITS in (DC1, DC3):
            return byte & _SEVEN_BITS == DC3
    return None
