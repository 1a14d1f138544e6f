"""How often a tape was read: what the queues on its readings ask."""

from sqlalchemy import ColumnElement, ScalarSelect, exists, func, select
from sqlmodel import col

from server.catalog.narrowing import IS_HERE, AnySelect
from server.catalog.vocabulary import Hazard
from server.store.images import Reading
from server.store.merging import MergedReading
from server.store.tapes import Tape

BY_NUMBER = (col(Tape.accession_key), col(Tape.id))
"""The order of a queue of tapes."""

NOTHING_VOUCHES = col(Tape.verified) == 0
"""Whether the newest image of a tape is unverified."""

IS_READ = col(Tape.image_id).is_not(None)

NOT_HELD_APART = col(Tape.hazard).not_in([each for each in Hazard if each.quarantines])
"""Asked so, and not for equality, because nearly every tape is free of hazards: no use of the
index of hazards, which SQLite would prefer to any other."""


def tapes(*conditions: ColumnElement[bool]) -> AnySelect:
    """The ids of the tapes of the collection that answer to all of this."""
    return select(col(Tape.id)).where(*conditions, IS_HERE).order_by(*BY_NUMBER)


def passes() -> ScalarSelect[int]:
    """How many passes of the tape through a reader are held; a merged reading is none."""
    merged = exists().where(col(MergedReading.reading_id) == col(Reading.id))
    return (
        select(func.count())
        .select_from(Reading)
        .where(col(Reading.tape_id) == col(Tape.id), ~merged)
        .correlate(Tape)
        .scalar_subquery()
    )
