"""A simulated reader with known truth: it flips channels, drops frames and reads some twice."""

from dataclasses import dataclass

import numpy as np

from server.tape.image import Image


@dataclass(frozen=True, slots=True)
class Rates:
    """Errors a frame: of flips by one channel, of frames dropped, of frames read twice."""

    flips: float = 0.002
    drops: float = 0.0005
    doubles: float = 0.0005


POOR = Rates()


def read(tape: Image, rates: Rates, rng: np.random.Generator) -> Image:
    """The image that a reader with these error rates gives of `tape`."""
    frames = tape.array.copy()
    flipped = np.flatnonzero(rng.random(frames.size) < rates.flips)
    channels = rng.integers(0, tape.levels, flipped.size)
    frames[flipped] ^= (1 << channels).astype(np.uint8)
    times = np.ones(frames.size, np.intp)
    times[rng.random(frames.size) < rates.drops] = 0
    times[rng.random(frames.size) < rates.doubles] = 2
    return Image(np.repeat(frames, times).tobytes(), tape.levels)


def readings(tape: Image, count: int, rates: Rates = POOR, seed: int = 1) -> list[Image]:
    """So many readings of `tape`."""
    rng = np.random.default_rng(seed)
    return [read(tape, rates, rng) for _ in range(count)]
