"""How much a queue holds, a page of it, and which of some things it holds."""

from collections.abc import Collection, Sequence

from sqlalchemy import Row, func, select, tuple_
from sqlalchemy.orm import Session

from server.catalog.errors import Invalid, NotFound
from server.catalog.held import image_id_of, known, tape_of
from server.catalog.queues import QUEUES, About, Asked, Queue
from server.catalog.queues.entries import entries
from server.catalog.queues.values import CAP, Entry, Ids, Told
from server.catalog.tape_request_records import request_of
from server.catalog.tape_values import Page
from server.catalog.work import Work
from server.store.remembered import remembered

PAIR_JOINED_BY = "-"
_DIGITS = 11
"""Fewer than this has the number of any record."""


def counts(work: Work, report_years: int) -> tuple[Told, ...]:
    """All queues with how much each holds; nothing is counted beyond `CAP`."""
    asked = Asked.at(work, report_years)
    return tuple(_told(work, each, asked) for each in QUEUES.values())


def told(work: Work, queue: Queue, report_years: int) -> Told:
    """One queue with how much it holds."""
    return _told(work, queue, Asked.at(work, report_years))


def _told(work: Work, queue: Queue, asked: Asked) -> Told:
    return Told.of(queue, asked, _count(work, queue, asked, CAP + 1))


def page(
    work: Work, queue: Queue, report_years: int, page: int = 1, page_size: int = 50
) -> Page[Entry]:
    """One page of what a queue holds."""
    asked = Asked.at(work, report_years)
    rows = work.session.execute(
        queue.asks(asked).offset((page - 1) * page_size).limit(page_size)
    ).all()
    total = _count(work, queue, asked, None)
    return Page(entries(work, queue, _ids(rows)), total, page, page_size)


def holding(work: Work, queue: Queue, report_years: int, some: Collection[Ids]) -> tuple[Ids, ...]:
    """Those of `some` that the queue holds, in its order."""
    if not some:
        return ()
    question = queue.asks(Asked.at(work, report_years))
    columns = list(question.selected_columns)
    wanted = (
        columns[0].in_([ids[0] for ids in some])
        if len(columns) == 1
        else tuple_(*columns).in_(list(some))
    )
    return _ids(work.session.execute(question.where(wanted)).all())


def some(work: Work, queue: Queue, report_years: int, keys: Collection[str]) -> tuple[Entry, ...]:
    """Those of the things that go by these keys that the queue holds, in its order.

    Raises:
        NotFound, Invalid: as `find`.
    """
    ids = holding(work, queue, report_years, [find(work, queue, key) for key in keys])
    return entries(work, queue, ids)


def find(work: Work, queue: Queue, key: str) -> Ids:
    """The ids of what goes by this key in a queue of its kind, whether or not the queue holds it.

    Raises:
        NotFound: nothing does.
        Invalid: two images are named where they are one.
    """
    if queue.about is About.TAPE:
        return (known(tape_of(work, key).id),)
    if queue.about is About.IMAGE:
        return (image_id_of(work, key),)
    if queue.about is About.REQUEST:
        number = int(key) if key.isdecimal() and len(key) < _DIGITS else 0
        return (known(request_of(work, number).id),)
    first, joined, second = key.partition(PAIR_JOINED_BY)
    if not joined:
        raise NotFound(
            "A pair is named by two SHA-256 joined by a hyphen.",
            where=key[:64],
            mend=f"Look for it in the queue {queue.name}.",
        )
    pair = tuple(sorted((image_id_of(work, first), image_id_of(work, second))))
    if pair[0] == pair[1]:
        raise Invalid(
            "A pair is of two images.", where=first[:64], mend="Name two different images."
        )
    return pair


def _ids(rows: Sequence[Row[tuple[object, ...]]]) -> tuple[Ids, ...]:
    return tuple(tuple(row) for row in rows)  # type: ignore[arg-type]  # each column is an id


def _count(work: Work, queue: Queue, asked: Asked, limit: int | None) -> int:
    key = ("queue", queue.name, asked, limit)
    return remembered(work.session, key, lambda: how_many(work.session, queue, asked, limit))


def how_many(session: Session, queue: Queue, asked: Asked, limit: int | None) -> int:
    """How much a queue holds, counted no further than `limit`, and never remembered."""
    some = queue.asks(asked).order_by(None).limit(limit).subquery()
    return session.scalar(select(func.count()).select_from(some)) or 0
