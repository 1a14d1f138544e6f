"""All readings laid on what most of them hold, the way the tape was punched."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from server.tape.image import Image, Orientation
from server.tape.merging.anchors import Lane
from server.tape.merging.columns import Columns, columns
from server.tape.merging.gathering import gather, turned_twice
from server.tape.merging.pairing import pair


@dataclass(frozen=True, slots=True)
class Laid:
    """The readings in columns, and how each was turned.

    The rows of `table` have an order of their own, so that nothing worked out from them depends
    on the order of the readings; `rows` gives the row of each reading.
    """

    table: Columns
    rows: tuple[int, ...]
    turns: tuple[Orientation, ...]


Upright = Callable[[Image], Orientation | None]
"""How an image must be turned to lie as it was punched; None where nothing tells."""


def lay(images: Sequence[Image], levels: int, upright: Upright) -> Laid:
    """Lay `images` under each other, all turned as `upright` says of what they hold together.

    They are laid on the longest of them first, and then on what most of them hold, so that the
    errors of that one reading do not bend the others.

    Raises:
        TapeError: one of the readings is not like the others.
    """
    gathered = gather(images)
    first = columns(gathered.pairings)
    held = Image(first.held, levels)
    way = upright(held) or _as_most_lay(gathered.turns)
    base = Lane(held.turned(way).frames)
    lying = [Image(each.other, levels).turned(way).frames for each in gathered.pairings]
    order = sorted(range(len(lying)), key=lying.__getitem__)
    table = columns([pair(base, Lane(lying[number])) for number in order])
    rows = tuple(order.index(number) for number in range(len(order)))
    return Laid(table, rows, tuple(turned_twice(each, way) for each in gathered.turns))


def _as_most_lay(turns: Sequence[Orientation]) -> Orientation:
    """The way in which most of the readings, turned like the first, come to lie as read."""
    counts = Counter(turns)
    return max(Orientation, key=lambda each: (counts[each], each is Orientation.AS_READ))
