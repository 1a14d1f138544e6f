"""One frame for people to read: its holes, and the character that it is in a code."""

from functools import cache
from typing import Final

import numpy as np

from server.tape.codes import CODES
from server.tape.image import blank_or_rubbed_out

HOLE, PAPER = "o", "."
_BELOW_FEED: Final = 3
"""Channels on the near side of the feed holes (ECMA-10)."""

_CONTROLS: Final = dict(
    enumerate(
        "NUL SOH STX ETX EOT ENQ ACK BEL BS HT LF VT FF CR SO SI DLE DC1 DC2 DC3 DC4 NAK SYN ETB "
        "CAN EM SUB ESC FS GS RS US SP".split()
    )
)
"""Abbreviations of the control characters, and of the space (ECMA-6)."""


def holes(frame: int, levels: int) -> str:
    """The frame across the tape, the highest channel first: `oo... ..o`; the gap is the feed hole.

    `frame` is a byte, channel 1 in bit 0.
    """
    row = "".join(HOLE if frame >> bit & 1 else PAPER for bit in reversed(range(levels)))
    return f"{row[:-_BELOW_FEED]} {row[-_BELOW_FEED:]}"


def channels(frame: int) -> tuple[int, ...]:
    """The channels in which a frame has a hole, channel 1 first."""
    return tuple(channel for channel in range(1, 9) if frame >> channel - 1 & 1)


def character(frame: int, code: str | None, levels: int) -> str:
    """What the frame alone is in that code; empty where it is none, or no code is known.

    A code with shifts is read as if nothing was shifted.
    """
    if code is None or code not in CODES:
        return ""
    return _characters(code, levels)[frame]


@cache
def _characters(code: str, levels: int) -> tuple[str, ...]:
    blank, rub_out = blank_or_rubbed_out(levels)
    named = {blank: "blank", rub_out: "rub-out"}
    return tuple(named.get(frame) or _read(frame, code, levels) for frame in range(256))


def _read(frame: int, code: str, levels: int) -> str:
    read = CODES[code].read(np.array([frame], np.uint8), levels).text
    if len(read) != 1:
        return ""
    return _CONTROLS.get(read[0]) or read.decode("latin-1")
