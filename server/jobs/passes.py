"""What passes over the whole library have in common: batch after batch of the images held.

A pass goes over all images there were when it began, in one round or several; a step is a batch
of images, and done twice it comes to the same.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Self

from sqlalchemy import Engine, func, select
from sqlmodel import col

from server.catalog.work import COMMAND, Work, unit_of_work
from server.store.images import ImageRow


@dataclass(frozen=True, slots=True)
class Plan:
    """What there is to do: all images up to an id, in every round."""

    images: int
    up_to: int


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a pass has come: images done, in all rounds together, of so many; found so far."""

    done: int
    of: int
    found: int

    @property
    def share(self) -> float:
        """The part that is done, from 0 to 1."""
        return self.done / self.of if self.of else 1.0


@dataclass(frozen=True, slots=True)
class Batch:
    """What a step did: so many images, the last of that id, and how much it found."""

    images: int
    last: int
    found: int

    @classmethod
    def of(cls, ids: Sequence[int], up_to: int, found: int = 0) -> Self:
        """What a step did that had these images before it; where there are none, all is done."""
        return cls(len(ids), ids[-1] if ids else up_to, found)


Step = Callable[[str, int, int], dict[str, int]]
"""Does a batch of the round of that name; what it gives, and takes, can be written down."""


def plan(engine: Engine) -> Plan:
    """Look at how much there is to do."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        count, last = work.session.execute(
            select(func.count(), func.max(col(ImageRow.id))).select_from(ImageRow)
        ).one()
    return Plan(count, last or 0)


def next_ids(work: Work, after: int, up_to: int, most: int) -> list[int]:
    """The ids of the next images, `most` at most, from the oldest."""
    rows = work.session.scalars(
        select(col(ImageRow.id))
        .where(col(ImageRow.id) > after, col(ImageRow.id) <= up_to)
        .order_by(col(ImageRow.id))
        .limit(most)
    )
    return [each for each in rows if each is not None]


def whole(
    rounds: Iterable[str], plan: Plan, step: Step, tell: Callable[[Progress], None]
) -> Progress:
    """All rounds, batch after batch; `step` and `tell` belong to the engine that runs it."""
    names = tuple(rounds)
    done = found = 0
    for name in names:
        after = 0
        while after < plan.up_to:
            batch = Batch(**step(name, after, plan.up_to))
            after, done, found = batch.last, done + batch.images, found + batch.found
            tell(Progress(done, len(names) * plan.images, found))
    return Progress(done, len(names) * plan.images, found)
