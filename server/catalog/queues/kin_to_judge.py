"""Pairs of images that resemble each other, on which nobody has decided anything yet."""

from collections.abc import Iterator
from typing import Final

from sqlalchemy import ColumnElement, and_, exists, or_, select
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
    """What settles a pair, in the order in which it leaves least to look at.

    Each is denied by itself, so that PostgreSQL may join for it and need not ask of every pair.
    """
    del asked
    settled = (_newest_of_one_program(), *_of_one_program(), _of_one_tape(), *_is_decided())
    return select(_A, _B).where(*(~each for each in settled)).order_by(_A, _B)


def _newest_of_one_program() -> ColumnElement[bool]:
    """Whether both are the newest images of tapes of one program: quickly told of most pairs."""
    mine, other = aliased(Tape), aliased(Tape)
    # Asked for an id, and not for all columns, the index alone answers.
    found = select(col(mine.id)).where(
        col(mine.image_id) == _A,
        col(other.image_id) == _B,
        col(mine.program_id) == col(other.program_id),
    )
    return found.exists()


def _of_one_program() -> Iterator[ColumnElement[bool]]:
    """Whether both are known to hold one program, as masters or by the tapes they were read of."""
    version_a, version_b = aliased(Version), aliased(Version)
    reading_a, reading_b = aliased(Reading), aliased(Reading)
    tape_a, tape_b = aliased(Tape), aliased(Tape)
    masters_a, masters_b = col(version_a.image_id) == _A, col(version_b.image_id) == _B
    read_a = and_(col(reading_a.image_id) == _A, col(tape_a.id) == col(reading_a.tape_id))
    read_b = and_(col(reading_b.image_id) == _B, col(tape_b.id) == col(reading_b.tape_id))
    for is_a, of_a in ((read_a, tape_a), (masters_a, version_a)):
        for is_b, of_b in ((read_b, tape_b), (masters_b, version_b)):
            yield exists().where(is_a, is_b, col(of_a.program_id) == col(of_b.program_id))


def _of_one_tape() -> ColumnElement[bool]:
    """Whether both were read from one tape, and so are what merging is for."""
    mine, other = aliased(Reading), aliased(Reading)
    return exists().where(
        col(mine.image_id) == _A, col(other.image_id) == _B, col(mine.tape_id) == col(other.tape_id)
    )


def _is_decided() -> Iterator[ColumnElement[bool]]:
    """Whether the newest decision on the two, whichever it names first, stands."""
    first, second, later = aliased(ImageRow), aliased(ImageRow), aliased(FamilyDecision)
    mine, other = col(FamilyDecision.sha256), col(FamilyDecision.other_sha256)
    on_the_two = or_(
        and_(col(later.sha256) == mine, col(later.other_sha256) == other),
        and_(col(later.sha256) == other, col(later.other_sha256) == mine),
    )
    followed = exists().where(col(later.id) > col(FamilyDecision.id), on_the_two)
    for name, its_other in ((mine, other), (other, mine)):
        yield exists().where(
            col(first.id) == _A,
            col(second.id) == _B,
            col(first.sha256) == name,
            col(second.sha256) == its_other,
            col(FamilyDecision.kind) != str(Decided.UNDECIDED),
            ~followed,
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
