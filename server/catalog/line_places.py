"""Which line of a listing shows a frame, or what is loaded at an address."""

from bisect import bisect_right
from collections.abc import Sequence
from typing import Final, TypeAlias

from server.tape.dump import WIDTH
from server.tape.listing import MOST_LINES, Line

Starts: TypeAlias = list[tuple[int, int]]
"""Where each line begins, in frames or addresses, and its number; in rising order."""

_UNLISTED: Final = 0
"""The number that stands for all that lies behind a listing that was cut."""


def by_frame(lines: Sequence[Line]) -> Starts:
    """Where each line begins, in frames."""
    starts = sorted((line.frame, number) for number, line in enumerate(lines, 1))
    if len(lines) >= MOST_LINES:
        starts.append((max(line.frame + line.frames for line in lines), _UNLISTED))
    return starts


def by_address(lines: Sequence[Line]) -> Starts:
    """Where each line of a dump begins, in addresses."""
    starts = sorted(
        (line.key, number) for number, line in enumerate(lines, 1) if line.key is not None
    )
    if starts and len(lines) >= MOST_LINES:
        starts.append((starts[-1][0] + WIDTH, _UNLISTED))
    return starts


def line_at(starts: Starts, place: int) -> int | None:
    """The number of the line that holds `place`.

    None where it lies before all of them, or behind the last that is listed of more.
    """
    at = bisect_right(starts, (place, len(starts) + 1))
    return (starts[at - 1][1] or None) if at else None
