"""How long a tape is and how long it takes, for a page."""

from dataclasses import dataclass

from server.tape.estimate import RATES, folds, length_mm, roll_diameter_mm, seconds

FASTEST = 5000
"""Frames a second that no reader reaches (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Estimates:
    """Length of a tape, and its time at the usual rates and at one that was asked for.

    `asked` is the text in the field; `wrong` what does not fit about it.
    """

    frames: int
    length_mm: float
    roll_mm: float
    folds: float
    times: tuple[tuple[float, float], ...]
    asked: str = ""
    wrong: str = ""


def estimates(frames: int, asked: str = "") -> Estimates:
    """The estimates for so many frames; `asked` is a rate as somebody typed it, or nothing."""
    rate, wrong = _rate(asked)
    rates = [*RATES, rate] if rate and rate not in RATES else [*RATES]
    return Estimates(
        frames=frames,
        length_mm=length_mm(frames),
        roll_mm=roll_diameter_mm(length_mm(frames)),
        folds=folds(frames),
        times=tuple((each, seconds(frames, each)) for each in rates),
        asked=asked,
        wrong=wrong,
    )


def _rate(asked: str) -> tuple[float, str]:
    if not asked.strip():
        return 0, ""
    try:
        rate = float(asked.replace(",", "."))
    except ValueError:
        rate = 0
    if 0 < rate <= FASTEST:
        return rate, ""
    return 0, f"Give a number of frames a second above 0 and up to {FASTEST:,}."
