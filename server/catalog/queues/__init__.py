"""Queues of work: what needs somebody's help, a file each, and all of them by name."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from server.catalog.errors import NotFound
from server.catalog.queues.by_hand import IMAGES_BY_HAND, TAPES_BY_HAND
from server.catalog.queues.damaged import DAMAGED
from server.catalog.queues.kin_to_judge import KIN_TO_JUDGE
from server.catalog.queues.no_report import NO_REPORT
from server.catalog.queues.overdue_loans import OVERDUE_LOANS
from server.catalog.queues.queue import About, Asked, Place, Queue, Step
from server.catalog.queues.readings_disagree import READINGS_DISAGREE
from server.catalog.queues.requested import REQUESTED
from server.catalog.queues.single_reading import SINGLE_READING
from server.catalog.queues.unidentified import UNIDENTIFIED
from server.catalog.queues.unread import UNREAD

QUEUES: Final[Mapping[str, Queue]] = MappingProxyType(
    {
        queue.name: queue
        for queue in (
            UNREAD,
            SINGLE_READING,
            READINGS_DISAGREE,
            DAMAGED,
            UNIDENTIFIED,
            NO_REPORT,
            OVERDUE_LOANS,
            REQUESTED,
            KIN_TO_JUDGE,
        )
    }
)
"""In the order in which a tape goes through them."""

BY_HAND: Final[Mapping[About, Queue]] = MappingProxyType(
    {queue.about: queue for queue in (TAPES_BY_HAND, IMAGES_BY_HAND)}
)
"""Where something stands on a list that no queue holds; they are no lists of work of their own."""


def queue_of(name: str) -> Queue:
    """The queue of that name.

    Raises:
        NotFound: there is none.
    """
    if name not in QUEUES:
        raise _no_queue(name)
    return QUEUES[name]


def listable(name: str) -> Queue:
    """The queue of that name, those for what is put on by hand included.

    Raises:
        NotFound: there is none.
    """
    return next((each for each in BY_HAND.values() if each.name == name), None) or queue_of(name)


def _no_queue(name: str) -> NotFound:
    return NotFound(
        f"There is no queue {name[:40]}.",
        where=name[:40],
        mend=f"Choose one of: {', '.join(QUEUES)}.",
    )


__all__ = [
    "BY_HAND",
    "QUEUES",
    "About",
    "Asked",
    "Place",
    "Queue",
    "Step",
    "listable",
    "queue_of",
]
