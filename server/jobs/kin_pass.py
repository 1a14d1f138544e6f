"""The pass that finds kin in everything held, step by step.

Three rounds over all images there were when it began: the first decodes again what an earlier
release of the decoder took in, the second makes the normal form and the fingerprints of each
anew, the third compares each with those who share most with it. A step is a batch of images;
done twice, it comes to the same. What was decoded or compared is written in a short transaction
afterwards, so that nobody who uploads has to wait long.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Final

from sqlalchemy import Engine, func, select
from sqlmodel import col

from server.catalog import forms, kinship, redecoding
from server.catalog.work import COMMAND, Work, unit_of_work
from server.store import fingerprints as index
from server.store.images import ImageRow
from server.store.kin import Kinship
from server.tape.kinship import fingerprints

BATCH = 50
"""Images in a step: about a second's work, which is what a crash costs."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What there is to do: all images up to an id, in every round."""

    images: int
    up_to: int


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a pass has come: images done, in all rounds together, of so many; kin so far."""

    done: int
    of: int
    kin: int

    @property
    def share(self) -> float:
        """The part that is done, from 0 to 1."""
        return self.done / self.of if self.of else 1.0


@dataclass(frozen=True, slots=True)
class Batch:
    """What a step did: so many images, the last of that id, and so many kin found."""

    images: int
    last: int
    kin: int


def plan(engine: Engine) -> Plan:
    """Look at how much there is to do."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        count, last = work.session.execute(
            select(func.count(), func.max(col(ImageRow.id))).select_from(ImageRow)
        ).one()
    return Plan(count, last or 0)


def decode(engine: Engine, after: int, up_to: int) -> Batch:
    """Decode the next images again, those that this release of the decoder has not seen."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        ids = _next(work, after, up_to)
        decoded = redecoding.decoded_again(work, ids)
    with unit_of_work(engine, COMMAND) as work:
        for each in decoded:
            redecoding.keep(work, each)
    return Batch(len(ids), ids[-1] if ids else up_to, 0)


def remake(engine: Engine, after: int, up_to: int) -> Batch:
    """Make the forms and fingerprints of the next images anew."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        ids = _next(work, after, up_to)
        made = [(each, form, fingerprints(form)) for each, form in forms.remade(work, set(ids))]
    with unit_of_work(engine, COMMAND) as work:
        for image_id, form, hashes in made:
            kinship.keep(work, image_id, form, hashes)
    return Batch(len(ids), ids[-1] if ids else up_to, 0)


def compare(engine: Engine, after: int, up_to: int) -> Batch:
    """Find the kin of the next images.

    Of a pair, what its older image found stays: the younger one may have too many others.
    """
    with unit_of_work(engine, COMMAND, writes=False) as work:
        ids = _next(work, after, up_to)
        found = [(each, _kin(work, each)) for each in ids]
    with unit_of_work(engine, COMMAND) as work:
        for image_id, kin in found:
            kinship.record(work, image_id, kin, since=image_id)
    return Batch(len(ids), ids[-1] if ids else up_to, sum(len(kin) for _, kin in found))


def _next(work: Work, after: int, up_to: int) -> list[int]:
    rows = work.session.scalars(
        select(col(ImageRow.id))
        .where(col(ImageRow.id) > after, col(ImageRow.id) <= up_to)
        .order_by(col(ImageRow.id))
        .limit(BATCH)
    )
    return [each for each in rows if each is not None]


def _kin(work: Work, image_id: int) -> tuple[kinship.Found, ...]:
    form = forms.of(work, {image_id})[image_id]
    return kinship.find(work, form, index.of(work.session, image_id), besides=image_id)


Step = Callable[[str, int, int], dict[str, int]]
"""Does a batch of the round of that name; what it gives, and takes, can be written down."""


def whole(plan: Plan, step: Step, tell: Callable[[Progress], None]) -> Progress:
    """All rounds, batch after batch; `step` and `tell` belong to the engine that runs it."""
    done = kin = 0
    for name in ROUNDS:
        after = 0
        while after < plan.up_to:
            batch = Batch(**step(name, after, plan.up_to))
            after, done, kin = batch.last, done + batch.images, kin + batch.kin
            tell(Progress(done, len(ROUNDS) * plan.images, kin))
    return Progress(done, len(ROUNDS) * plan.images, kin)


ROUNDS: Final = {"decode": decode, "remake": remake, "compare": compare}


def act(engine: Engine, name: str, after: int, up_to: int) -> dict[str, int]:
    """The batch of one round, as values that can be written down."""
    return asdict(ROUNDS[name](engine, after, up_to))


def pairs(engine: Engine) -> int:
    """How many pairs of kin are recorded now."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        return work.session.scalar(select(func.count()).select_from(Kinship)) or 0
