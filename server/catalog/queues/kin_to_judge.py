"""Pairs of images that resemble each other, on which nobody has decided anything yet."""

from typing import Final

from sqlalchemy import ColumnElement, and_, exists, func, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog.family_values import Decided
from server.catalog.narrowing import AnySelect
from server.catalog.queues.queue import About, Asked, Queue, Step
from server.catalog.work import Role
from server.store.families import FamilyDecision
from server.store.images import ImageRow, Reading
from server.store.kin import Kinship
from server.store.programs import Version
from server.store.tapes import Tape

_A, _B = col(Kinship.image_a_id), col(Kinship.image_b_id)


def _asks(asked: Asked) -> AnySelect:
    """The conditions in the order in which they leave least to look at."""
    del asked
    return (
        select(_A, _B).where(~_of_one_program(), ~_of_one_tape(), _is_undecided()).order_by(_A, _B)
    )


def _is_undecided() -> ColumnElement[bool]:
    """Whether the newest decision on the two, if there is any, took back what was decided."""
    first, second = aliased(ImageRow), aliased(ImageRow)
    mine, other = col(FamilyDecision.sha256), col(FamilyDecision.other_sha256)
    a, b = col(first.sha256), col(second.sha256)
    newest = (
        select(col(FamilyDecision.kind))
        .where(
            col(first.id) == _A,
            col(second.id) == _B,
            or_(and_(mine == a, other == b), and_(mine == b, other == a)),
        )
        .order_by(col(FamilyDecision.id).desc())
        .limit(1)
        .scalar_subquery()
    )
    return func.coalesce(newest, str(Decided.UNDECIDED)) == str(Decided.UNDECIDED)


def _of_one_tape() -> ColumnElement[bool]:
    """Whether both were read from one tape, and so are what merging is for."""
    mine, other = aliased(Reading), aliased(Reading)
    return exists().where(
        col(mine.image_id) == _A, col(other.image_id) == _B, col(mine.tape_id) == col(other.tape_id)
    )


def _of_one_program() -> ColumnElement[bool]:
    """Whether both are known to hold one program, as masters or by the tapes they were read of."""
    version_a, version_b = aliased(Version), aliased(Version)
    reading_a, reading_b = aliased(Reading), aliased(Reading)
    tape_a, tape_b = aliased(Tape), aliased(Tape)
    masters_a, masters_b = col(version_a.image_id) == _A, col(version_b.image_id) == _B
    read_a = and_(col(reading_a.image_id) == _A, col(tape_a.id) == col(reading_a.tape_id))
    read_b = and_(col(reading_b.image_id) == _B, col(tape_b.id) == col(reading_b.tape_id))
    return or_(
        *(
            exists().where(is_a, is_b, col(of_a.program_id) == col(of_b.program_id))
            for is_a, of_a in ((read_a, tape_a), (masters_a, version_a))
            for is_b, of_b in ((read_b, tape_b), (masters_b, version_b))
        )
    )


KIN_TO_JUDGE: Final = Queue(
    name="kin-to-judge",
    title="Kin to be judged",
    meaning="Pairs of images that resemble each other and are not known to hold one program, on "
    "which nobody has decided whether they belong together.",
    todo="Compare the two, then say on the page of the family that they belong together, that "
    "they do not, or which was made from which.",
    well_done="Well done: on all that resembles something else, somebody has decided.",
    role=Role.ARCHIVIST,
    about=About.PAIR,
    asks=_asks,
    steps=(
        Step("Compare", "/images/{image}/compare/{other}", Role.VISITOR),
        Step("Decide", "/images/{other}/family", Role.ARCHIVIST),
    ),
)
