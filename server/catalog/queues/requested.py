"""What demonstrators wait for: a tape or a program that is wanted for a day."""

from collections.abc import Collection
from typing import Final

from sqlalchemy import select
from sqlmodel import col

from server.catalog.held import known
from server.catalog.narrowing import AnySelect
from server.catalog.queues.queue import About, Asked, Queue, Step
from server.catalog.queues.values import Ids
from server.catalog.request_values import RequestStatus
from server.catalog.work import Role, Work
from server.store.loans import TapeRequest
from server.store.people import Person


def _asks(asked: Asked) -> AnySelect:
    del asked
    question: AnySelect = (
        select(col(TapeRequest.id))
        .where(col(TapeRequest.status) == RequestStatus.OPEN)
        .order_by(col(TapeRequest.wanted_on), col(TapeRequest.id))
    )
    return question


def _tells(work: Work, found: Collection[Ids]) -> dict[Ids, str]:
    """When each is wanted; and by whom and what for, to those who work here."""
    rows = work.session.execute(
        select(
            col(TapeRequest.id),
            col(TapeRequest.wanted_on),
            col(TapeRequest.purpose),
            col(Person.display_name),
        )
        .outerjoin(Person, col(Person.id) == col(TapeRequest.asked_by_id))
        .where(col(TapeRequest.id).in_([ids[0] for ids in found]))
    )
    works_here = work.actor.role.includes(Role.VOLUNTEER)
    return {
        (known(request),): f"for {day}"
        + (f", {name or 'somebody'}: {purpose}" if works_here else "")
        for request, day, purpose, name in rows
    }


REQUESTED: Final = Queue(
    name="requested",
    title="Requested by demonstrators",
    meaning="Tapes and programs that a demonstrator wants for a day.",
    todo="Punch one from a trusted image and read it back, or hand a tape out that may be handled; "
    "then say so on the request. What was punched spares what is old.",
    well_done="Well done: every demonstrator has what was asked for.",
    role=Role.VOLUNTEER,
    about=About.REQUEST,
    asks=_asks,
    steps=(Step("Settle it", "/requests/{request}"),),
    tells=_tells,
)
