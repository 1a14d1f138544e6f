"""Who belongs to a family: kin of its seeds, kin of those, and whom archivists put there."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy import or_, select
from sqlmodel import col

from server.catalog import decisions as decided
from server.catalog.decisions import Decisions, Pair
from server.catalog.family_values import Decided, DecisionRecord
from server.catalog.held import known
from server.catalog.work import Work
from server.store.images import ImageRow, Reading
from server.store.kin import Kinship
from server.store.programs import Version
from server.store.tapes import Tape
from server.tape.kinship import Kind

MOST_MEMBERS: Final = 100
"""As many as a person can look through; the nearest ones are taken."""


@dataclass(slots=True)
class Gathered:
    """The ids of the members in the order in which they came in, and what was decided on them."""

    names: dict[int, str] = field(default_factory=dict)
    taken_out: dict[int, str] = field(default_factory=dict)
    decisions: dict[Pair, DecisionRecord] = field(default_factory=dict)
    more: int = 0


def gather(work: Work, seeds: Collection[int], program: int | None) -> Gathered:
    """The family of `seeds`, images that belong to it in any case.

    An image that belongs to another program stays out, and so does one that was decided not to
    belong with a member. A reel that carries a member and more is a member, but what else it
    carries is not.
    """
    found = Gathered()
    front: dict[int, bool] = dict.fromkeys(seeds, True)
    _admit(work, found, front, settled=True, program=program)
    while front:
        through = [image_id for image_id, leads_on in front.items() if leads_on]
        front = _next(work, found, through)
        front = _admit(work, found, front, settled=False, program=program)
    return found


def _next(work: Work, found: Gathered, through: Collection[int]) -> dict[int, bool]:
    """Those akin to the front or put beside it, nearest first, and whether they lead on."""
    first, second = col(Kinship.image_a_id), col(Kinship.image_b_id)
    rows = work.session.scalars(
        select(Kinship)
        .where(or_(first.in_(through), second.in_(through)))
        .order_by(col(Kinship.similarity).desc(), first, second)
    )
    reached: dict[int, bool] = {}
    for row in rows:
        forwards = row.image_a_id in through
        other = row.image_b_id if forwards else row.image_a_id
        holds = row.kind == (Kind.HOLDS if forwards else Kind.PART_OF)
        if other not in found.names:
            reached[other] = reached.get(other, False) or not holds
    together = {
        name
        for pair, each in found.decisions.items()
        if each.kind is not Decided.APART
        for name in pair - set(found.names.values())
    }
    return reached | dict.fromkeys(ids_of(work, together).values(), True)


def _admit(
    work: Work, found: Gathered, front: Mapping[int, bool], *, settled: bool, program: int | None
) -> dict[int, bool]:
    """Those of `front` that may come in, now in; decisions on them are looked up."""
    names = names_of(work, front)
    found.decisions |= decided.of(work, set(names.values()))
    foreign = set() if settled else _of_other_programs(work, front, program)
    admitted: dict[int, bool] = {}
    for image_id, leads_on in front.items():
        kinds = _decided_with(found.decisions, names[image_id], found.names.values())
        if Decided.APART in kinds:
            found.taken_out[image_id] = names[image_id]
        elif image_id in foreign and not kinds:
            continue
        elif len(found.names) >= MOST_MEMBERS:
            found.more += 1
        else:
            found.names[image_id] = names[image_id]
            admitted[image_id] = leads_on
    return admitted


def _decided_with(decisions: Decisions, name: str, others: Iterable[str]) -> set[Decided]:
    pairs = (decisions.get(Pair((name, other))) for other in others if other != name)
    return {each.kind for each in pairs if each is not None}


def seeds_of(work: Work, program: int) -> list[int]:
    """The masters of a program's versions, then the images read from its tapes."""
    masters = select(col(Version.image_id)).where(col(Version.program_id) == program)
    read = (
        select(col(Reading.image_id))
        .join(Tape, col(Tape.id) == col(Reading.tape_id))
        .where(col(Tape.program_id) == program)
    )
    found = [
        *work.session.scalars(masters.order_by(col(Version.id))),
        *work.session.scalars(read.order_by(col(Reading.id))),
    ]
    return list(dict.fromkeys(found))


def programs_of(work: Work, image_ids: Collection[int]) -> dict[int, list[int]]:
    """The programs that images belong to, by id: as a master first, then by their tapes."""
    masters = select(col(Version.image_id), col(Version.program_id)).where(
        col(Version.image_id).in_(image_ids)
    )
    read = (
        select(col(Reading.image_id), col(Tape.program_id))
        .join(Tape, col(Tape.id) == col(Reading.tape_id))
        .where(col(Reading.image_id).in_(image_ids), col(Tape.program_id).is_not(None))
    )
    found: dict[int, list[int]] = {}
    for statement in (masters.order_by(col(Version.id)), read.order_by(col(Reading.id))):
        for image_id, program in work.session.execute(statement):
            found.setdefault(image_id, []).append(known(program))
    return found


def _of_other_programs(work: Work, front: Collection[int], program: int | None) -> set[int]:
    found = programs_of(work, front)
    return {image_id for image_id, programs in found.items() if program not in programs}


def names_of(work: Work, image_ids: Collection[int]) -> dict[int, str]:
    """The names of images, by id."""
    rows = work.session.execute(
        select(col(ImageRow.id), col(ImageRow.sha256)).where(col(ImageRow.id).in_(image_ids))
    )
    return {known(image_id): sha256 for image_id, sha256 in rows}


def ids_of(work: Work, names: Collection[str]) -> dict[str, int]:
    """The ids of images, by name."""
    rows = work.session.execute(
        select(col(ImageRow.sha256), col(ImageRow.id))
        .where(col(ImageRow.sha256).in_(names))
        .order_by(col(ImageRow.id))
    )
    return {sha256: known(image_id) for sha256, image_id in rows}
