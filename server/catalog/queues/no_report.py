"""Tapes that nobody has looked at for years."""

from typing import Final

from sqlalchemy import or_
from sqlmodel import col

from server.catalog.narrowing import AnySelect
from server.catalog.queues.passes import tapes
from server.catalog.queues.queue import About, Asked, Queue, Step
from server.catalog.work import Role
from server.store.tapes import Tape


def _asks(asked: Asked) -> AnySelect:
    last, due = col(Tape.last_report), col(Tape.next_check)
    return tapes(or_(last.is_(None), last <= asked.oldest_report, due <= asked.today))


NO_REPORT: Final = Queue(
    name="no-report",
    title="No condition report in {years}",
    meaning="Tapes of which no condition report was logged in {years}, or none ever, and those "
    "whose newest report asked for another look by now.",
    todo="Take the tape out, look at it, and log how it stands. Bag it at once and keep it apart "
    "where you see mould.",
    well_done="Well done: every tape was looked at within {years}.",
    role=Role.VOLUNTEER,
    about=About.TAPE,
    asks=_asks,
    steps=(Step("Log its condition", "/tapes/{tape}/condition/new"),),
    actions=("not-examined", "place"),
)
