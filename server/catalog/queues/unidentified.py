"""Images of which nobody has said what program they hold."""

from typing import Final

from sqlalchemy import exists, select
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog.narrowing import IS_HERE, AnySelect
from server.catalog.queues.queue import About, Asked, Queue, Step, has_no_tape, has_tape
from server.catalog.work import Role
from server.store.images import Reading
from server.store.programs import Version
from server.store.tapes import Tape


def _asks(asked: Asked) -> AnySelect:
    """The newest images of tapes without a program, and images without a tape."""
    del asked
    other, known = aliased(Reading), aliased(Tape)
    on_a_tape = exists().where(
        col(other.image_id) == col(Reading.image_id), col(other.tape_id).is_not(None)
    )
    loose: AnySelect = select(col(Reading.image_id).label("id")).where(
        col(Reading.tape_id).is_(None), ~on_a_tape
    )
    read: AnySelect = select(col(Tape.image_id).label("id")).where(
        col(Tape.program_id).is_(None),
        col(Tape.image_id).is_not(None),
        IS_HERE,
        ~exists().where(
            col(known.image_id) == col(Tape.image_id), col(known.program_id).is_not(None)
        ),
    )
    found = loose.union(read).subquery()
    is_master = exists().where(col(Version.image_id) == found.c.id)
    return select(found.c.id).where(~is_master).order_by(found.c.id)


UNIDENTIFIED: Final = Queue(
    name="unidentified",
    title="Unidentified",
    meaning="Images of which nobody has said what program they hold, or from which tape they were "
    "read.",
    todo="Read the listing, look at what it resembles, and say which program it is; describe the "
    "tape where there is none yet.",
    well_done="Well done: of every image it is known what program it holds.",
    role=Role.VOLUNTEER,
    about=About.IMAGE,
    asks=_asks,
    steps=(
        Step("Look at it", "/images/{image}", Role.VISITOR),
        Step("Say which program", "/tapes/{tape}/edit", fits=has_tape),
        Step("Describe its tape", "/upload?image={image}", fits=has_no_tape),
        Step("Make it a version", "/images/{image}/version", Role.ARCHIVIST),
    ),
)
