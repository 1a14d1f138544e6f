"""Which line of a listing shows a frame, or what is loaded at an address."""

from bisect import bisect_right
from collections.abc import Sequence
from typing import TypeAlias

from server.tape.listing import Line

Starts: TypeAlias = list[tuple[int, int]]
"""Where each line begins, in frames or addresses, and its number; in rising order."""


def by_frame(lines: Sequence[Line]) -> Starts:
    """Where each line begins, in frames."""
    return sorted((line.frame, number) for number, line in enumerate(lines, 1))


def by_address(lines: Sequence[Line]) -> Starts:
    """Where each line of a dump begins, in addresses."""
    return sorted(
        (line.key, number) for number, line in enumerate(lines, 1) if line.key is not None
    )


def line_at(starts: Starts, place: int) -> int | None:
    """The number of the line that holds `place`; None where it lies before all of them."""
    at = bisect_right(starts, (place, len(starts) + 1))
    return starts[at - 1][1] if at else None
