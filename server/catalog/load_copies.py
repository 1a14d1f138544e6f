"""Which tapes carry a content, where they lie, and how they stand: what to take from the shelf."""

from typing import Final

from sqlalchemy import func, select
from sqlmodel import col

from server.catalog import condition
from server.catalog.handling import do_not_run, is_not_to_be_run
from server.catalog.load_sheet_values import Copy
from server.catalog.vocabulary import Condition, Hazard
from server.catalog.work import Work
from server.store.images import Decoding, Reading
from server.store.punching import Punching
from server.store.tapes import Tape

MOST_COPIES: Final = 6
"""A sheet names no more; who needs a seventh looks in the list of tapes."""


def of(work: Work, content_sha256: str) -> tuple[tuple[Copy, ...], int]:
    """The first tapes that gave that content when they were read, and how many more there are.

    Those that were punched here and read back come first: they are made to be run.
    """
    carrying = col(Tape.id).in_(
        select(col(Reading.tape_id))
        .join(Decoding, col(Decoding.image_id) == col(Reading.image_id))
        .where(
            col(Decoding.content_sha256) == content_sha256,
            ~col(Decoding.superseded),
            col(Reading.tape_id).is_not(None),
        )
    )
    counted = select(func.count()).select_from(Tape).where(carrying)
    tapes = work.session.execute(
        select(Tape, col(Punching.data_start), col(Punching.lettering))
        .outerjoin(Punching, col(Punching.tape_id) == col(Tape.id))
        .where(carrying)
        .order_by(is_not_to_be_run(), col(Punching.id).is_(None), col(Tape.accession_key))
        .limit(MOST_COPIES)
    )
    named = tuple(_copy(work, *row) for row in tapes.all())
    return named, (work.session.scalar(counted) or 0) - len(named)


def _copy(work: Work, tape: Tape, begins: int | None, letters: str | None) -> Copy:
    newest = condition.newest(work, tape)
    return Copy(
        accession_number=tape.accession_number,
        place=tape.place,
        medium=tape.medium,
        condition=Condition(tape.condition),
        hazard=Hazard(tape.hazard),
        reported=newest.checked_on if newest else None,
        advice=newest.advice if newest else "",
        begins=begins,
        letters=letters or "",
        do_not_run=do_not_run(tape),
    )
