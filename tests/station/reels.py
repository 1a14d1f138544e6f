"""Tapes for the station: every frame value, leader and trailer, and nothing that repeats."""

import random

LEADER = bytes(60)
TRAILER = bytes(260)


def content(frames: int = 3000, seed: int = 5) -> bytes:
    """Frames of every value, the control characters among them; none blank at the ends."""
    rng = random.Random(seed)
    return b"\x81" + bytes(rng.randrange(256) for _ in range(frames - 2)) + b"\x81"


def tape(frames: int = 3000, seed: int = 5) -> bytes:
    return LEADER + content(frames, seed) + TRAILER
