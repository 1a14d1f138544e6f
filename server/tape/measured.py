"""A tape as it was measured, held against what its image says.

Tolerances: a pitch may be off by 2 parts in a thousand (0.25 mm in 127 mm: ECMA-10, from memory),
paper moves as much again with the damp, and a hand's tape measure adds to it: 2 % together, and
never less than 0.3 m, for ends are cut and folded in. Of the width 0.5 mm is what a ruler tells.
These sums: common practice, no source.
"""

from typing import Final

from server.tape.dimensions import TAPE_WIDTH_MM
from server.tape.estimate import length_mm

LENGTH_SHARE: Final = 0.02
LENGTH_LEAST_M: Final = 0.3
WIDTH_MM: Final = 0.5


def tolerance_m(decoded_m: float) -> float:
    """Metres by which a measured length may differ from one of `decoded_m` metres."""
    return max(LENGTH_LEAST_M, LENGTH_SHARE * decoded_m)


def length_difference(measured_m: float, frames: int) -> str:
    """What it means that a tape measured so many metres gave so many frames; empty if it fits."""
    decoded_m = length_mm(frames) / 1000
    allowed = tolerance_m(decoded_m)
    missing = measured_m - decoded_m
    if abs(missing) <= allowed:
        return ""
    told = (
        f"The tape measures {measured_m:.2f} m and its image gives {decoded_m:.2f} m,"
        f" {abs(missing):.2f} m {'less' if missing > 0 else 'more'};"
        f" up to {allowed:.2f} m would be usual."
    )
    if missing > 0:
        return f"{told} Was it read to its end, leader and trailer too, without a jump?"
    return f"{told} Is the image of another tape, was a frame read twice, or a piece lost since?"


def width_difference(measured_mm: float, levels: int) -> str:
    """What it means that a tape of so many levels is so wide; empty if it fits."""
    nominal = TAPE_WIDTH_MM[levels]
    if abs(measured_mm - nominal) <= WIDTH_MM:
        return ""
    return (
        f"The tape is {measured_mm:.1f} mm wide; one of {levels} levels has {nominal:.2f} mm,"
        f" give or take {WIDTH_MM} mm. Count its levels again, or its edges are worn."
    )
