"""Content to reels: leader with lettering before it, trailer behind it."""

from typing import Final

from server.tape.image import Span
from server.tape.preparing.prepared import Reel

_LEAD_IN: Final = 20
"""Frames of leader in front of lettering, for a machine to grip (common practice, no source)."""


def wound(number: int, data: bytes, levels: int, leader: bytes, trailer: bytes) -> Reel:
    """The reel that carries `data` between `leader` and `trailer`."""
    start, stop = len(leader), len(leader) + len(data)
    frames = leader + data + trailer
    return Reel(
        number=number,
        frames=frames,
        levels=levels,
        leader=Span(0, start),
        data=Span(start, stop),
        trailer=Span(stop, len(frames)),
    )
