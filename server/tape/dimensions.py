"""A tape and its holes in millimetres.

Sources: a frame every 2.54 mm: ECMA-10, ISO 1154. An 8-level tape 25.40 mm wide: ECMA-10,
ISO 1154. Widths of 22.23 mm (6 and 7 levels) and 17.46 mm (5 levels), code holes of 1.83 mm,
feed holes of 1.17 mm, and the feed line 9.96 mm from the reference edge, between channels 3 and
4: a punch's service manual (the widths also EIA RS-227, from memory). That ECMA-10 and ISO 1154
give the same holes, and that channels are counted from the reference edge: from memory. The
feed holes of 6-level typesetting tape lie 0.33 mm off the line of the code holes (the same
manual); they are taken to lie in it here, as on all other tapes.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from server.tape.image import FRAME_PITCH_MM

CODE_HOLE_MM: Final = 1.83
FEED_HOLE_MM: Final = 1.17
"""Diameters."""

FEED_LINE_MM: Final = 9.96
"""From the reference edge, the one nearest to channel 1."""

TAPE_WIDTH_MM: Final[Mapping[int, float]] = MappingProxyType(
    {5: 17.46, 6: 22.23, 7: 22.23, 8: 25.40}
)
"""By the number of levels."""

_BELOW_FEED: Final = 3
"""Channels between the reference edge and the feed line."""


def pitches_from_feed(channel: int) -> int:
    """How many pitches `channel` lies beyond the feed line; below 0 between it and the edge."""
    return channel - _BELOW_FEED - (channel <= _BELOW_FEED)


def channel_mm(channel: int) -> float:
    """How far the centres of the holes of `channel` lie from the reference edge."""
    return round(FEED_LINE_MM + FRAME_PITCH_MM * pitches_from_feed(channel), 2)
