"""Length, time and size of a tape, from its number of frames.

Sources: pitch 2.54 mm, ten frames to the inch: ECMA-10, ISO 1154. Rates: common practice, no
source (10 a second a teleprinter, 70 a fast punch, 300 and 450 fast readers). Thickness about
0.1 mm: ECMA-10, from memory. A roll's core of 50.8 mm and folds of 85 frames: common practice,
no source. The diameter of a roll is geometry: the tape's edge covers a ring.
"""

from math import pi, sqrt

from server.tape.image import FRAME_PITCH_MM

RATES = (10, 70, 300, 450)
"""Frames a second at which tapes are commonly read and punched."""

FRAMES_PER_FOLD = 85
TAPE_THICKNESS_MM = 0.1
CORE_DIAMETER_MM = 50.8


def length_mm(frames: int) -> float:
    """Millimetres of tape that `frames` frames take."""
    return round(frames * FRAME_PITCH_MM, 2)


def seconds(frames: int, rate: float) -> float:
    """Seconds that `frames` frames take at `rate` frames a second.

    Raises:
        ValueError: `rate` is not above 0.
    """
    if not rate > 0:
        raise ValueError(f"{rate} frames a second is not a rate; give one above 0")
    return frames / rate


def roll_diameter_mm(
    length: float, thickness: float = TAPE_THICKNESS_MM, core: float = CORE_DIAMETER_MM
) -> float:
    """Outside diameter, in mm, of `length` mm of tape wound on a core of diameter `core` mm."""
    return sqrt(core**2 + 4 * length * thickness / pi)


def folds(frames: int) -> float:
    """How many folds of a fan-folded pack `frames` frames take."""
    return frames / FRAMES_PER_FOLD
