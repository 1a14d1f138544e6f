"""Stepping from one difference to the next, across the pages that they are told on."""

from collections.abc import Iterable
from typing import NamedTuple

from server.catalog.side_by_side import Shown


class Place(NamedTuple):
    """Where a difference stands: its anchor, and the page that has it, counted from 1."""

    anchor: str
    page: int


class Steps(NamedTuple):
    """A difference among `of`, counted from 1, and those beside it."""

    number: int
    of: int
    before: Place | None
    after: Place | None


def steps_on(page: int, places: Iterable[Place]) -> dict[str, Steps]:
    """The steps from each difference on one page, by its anchor."""
    every = tuple(places)
    around = (None, *every, None)
    return {
        place.anchor: Steps(at + 1, len(every), around[at], around[at + 2])
        for at, place in enumerate(every)
        if place.page == page
    }


def paged(anchors: Iterable[str], a_page: int) -> Iterable[Place]:
    """The places of anchors that stand `a_page` to a page."""
    return (Place(anchor, at // a_page + 1) for at, anchor in enumerate(anchors))


def row_anchor(row: Shown) -> str:
    """The name of a row's place on the page: after its line on the right, else on the left."""
    if row.right:
        return f"r{row.right.number}"
    return f"l{row.left.number}" if row.left else ""
