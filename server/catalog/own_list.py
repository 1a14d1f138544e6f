"""Each person's own list: what they took on, until the queue that it came from lets it go."""

from collections.abc import Collection
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from sqlalchemy import delete, func, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import events
from server.catalog.accounts import own_id
from server.catalog.errors import Conflict, Invalid, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.queues import BY_HAND, QUEUES, About, Asked, Queue
from server.catalog.queues.entries import entries, ids_of
from server.catalog.queues.held_in import find, holding
from server.catalog.queues.values import Entry, Ids, Told
from server.catalog.work import Role, Work
from server.store.work_items import WorkItem

MOST: Final = 500
"""Things on one list: more than anybody does, and few enough to be shown at once."""

_COLUMNS: Final = MappingProxyType(
    {
        About.TAPE: ("tape_id",),
        About.IMAGE: ("image_id",),
        About.PAIR: ("image_id", "other_id"),
        About.REQUEST: ("request_id",),
    }
)
_KINDS: Final = MappingProxyType(
    {
        About.TAPE: ObjectKind.TAPE,
        About.IMAGE: ObjectKind.IMAGE,
        About.PAIR: ObjectKind.IMAGE,
        About.REQUEST: ObjectKind.REQUEST,
    }
)

_ALL: Final = (*QUEUES.values(), *BY_HAND.values())


@dataclass(frozen=True, slots=True)
class Part:
    """What is on a list from one queue."""

    queue: Told
    entries: tuple[Entry, ...]


def mine(work: Work, report_years: int) -> tuple[Part, ...]:
    """The list of the person who acts, by queue; what was settled meanwhile is gone from it.

    Raises:
        NotSignedIn: nobody is signed in.
    """
    work.actor.require(Role.VOLUNTEER)
    items = _items(work)
    asked, parts, kept = Asked.at(work, report_years), [], 0
    for queue in _ALL:
        ids = holding(work, queue, report_years, [*map(ids_of, items.get(queue.name, ()))])
        kept += len(ids)
        if ids:
            told = Told.of(queue, asked, len(ids))
            parts.append(Part(told, entries(work, queue, ids)))
    if kept < sum(map(len, items.values())):
        work.afterwards.append(lambda later: forget_settled(later, report_years))
    return tuple(parts)


def count(work: Work, report_years: int) -> int:
    """How many things are on the list of the person who acts; none for one who has no list."""
    items = _items(work)
    return sum(
        len(holding(work, queue, report_years, [*map(ids_of, items[queue.name])]))
        for queue in _ALL
        if queue.name in items
    )


def queues_with(work: Work, about: About, key: str, report_years: int) -> tuple[Part, ...]:
    """The queues that hold a tape or an image; where none does, what is put on by hand.

    Raises:
        NotFound: there is no such tape or image.
    """
    asked = Asked.at(work, report_years)
    ids = find(work, BY_HAND[about], key)
    fitting = [each for each in QUEUES.values() if each.about is about]
    found = [each for each in fitting if holding(work, each, report_years, [ids])]
    return tuple(
        Part(Told.of(each, asked, 1), entries(work, each, [ids]))
        for each in (*found, BY_HAND[about])
    )


def put_on(work: Work, queue: Queue, key: str, report_years: int) -> None:
    """Put something that a queue holds on the list of the person who acts.

    Raises:
        NotFound: there is nothing of that key.
        Conflict: the queue does not hold it, or it is on the list already.
        Invalid: the list is full.
    """
    work.actor.require(Role.VOLUNTEER)
    person = own_id(work, "own list")
    ids = find(work, queue, key)
    if not holding(work, queue, report_years, [ids]):
        raise Conflict(
            f"It is not in the queue {queue.name}.",
            where=key,
            mend="Look at the queue as it is now: somebody may have settled it.",
        )
    _require_room(work, person)
    try:
        with work.session.begin_nested():
            work.session.add(_item(work, person, queue, ids))
    except IntegrityError:
        raise Conflict(
            "It is on your list already.", where=key, mend="Look at your list."
        ) from None
    _log(work, queue, key, "put on")


def take_off(work: Work, queue: Queue, key: str) -> None:
    """Take something off the list of the person who acts.

    Raises:
        NotFound: it is not on the list.
    """
    work.actor.require(Role.VOLUNTEER)
    person = own_id(work, "own list")
    ids = find(work, queue, key)
    found = _found(work, person, queue, ids)
    if found is None:
        raise NotFound("It is not on your list.", where=key, mend="Look at your list.")
    work.session.delete(found)
    work.session.flush()
    _log(work, queue, key, "taken off")


def has(work: Work, queue: Queue, key: str) -> bool:
    """Whether something is on the list of the person who acts.

    Raises:
        NotFound: there is nothing of that key.
    """
    work.actor.require(Role.VOLUNTEER)
    ids = find(work, queue, key)
    return _found(work, own_id(work, "own list"), queue, ids) is not None


def forget_settled(work: Work, report_years: int) -> None:
    """Take off the list what its queue holds no more; whoever settled it was logged with that."""
    for queue in _ALL:
        items = _of(work, own_id(work, "own list"), queue)
        held = set(holding(work, queue, report_years, [*map(ids_of, items)]))
        settled = [item.id for item in items if ids_of(item) not in held]
        work.session.execute(delete(WorkItem).where(col(WorkItem.id).in_(settled)))


def _items(work: Work) -> dict[str, Collection[WorkItem]]:
    """What is on the list of the person who acts, by queue, the first put on first."""
    rows = work.session.scalars(
        select(WorkItem)
        .where(col(WorkItem.person_id) == work.actor.person_id)
        .order_by(col(WorkItem.id))
    )
    items: dict[str, list[WorkItem]] = {}
    for row in rows:
        items.setdefault(row.queue, []).append(row)
    return dict(items)


def _of(work: Work, person: int, queue: Queue) -> list[WorkItem]:
    return list(
        work.session.scalars(
            select(WorkItem).where(
                col(WorkItem.person_id) == person, col(WorkItem.queue) == queue.name
            )
        )
    )


def _found(work: Work, person: int, queue: Queue, ids: Ids) -> WorkItem | None:
    return next((each for each in _of(work, person, queue) if ids_of(each) == ids), None)


def _require_room(work: Work, person: int) -> None:
    held = work.session.scalar(
        select(func.count()).select_from(WorkItem).where(col(WorkItem.person_id) == person)
    )
    if (held or 0) >= MOST:
        raise Invalid(
            f"{MOST} things are on your list already.",
            where="own list",
            mend="Settle some of them, or take some off.",
        )


def _item(work: Work, person: int, queue: Queue, ids: Ids) -> WorkItem:
    columns = dict(zip(_COLUMNS[queue.about], ids, strict=False))
    return WorkItem(person_id=person, queue=queue.name, put_on_at=work.now, **columns)


def _log(work: Work, queue: Queue, key: str, what: str) -> None:
    """One event, on the tape, the image or the request; of a pair, on its first image."""
    kind = _KINDS[queue.about]
    events.record(
        work,
        EventType.OWN_LIST,
        kind,
        key.partition("-")[0] if kind is ObjectKind.IMAGE else key,
        detail=f"{what} their own list: {queue.name}",
        facts={"queue": queue.name, "entry": key},
    )
