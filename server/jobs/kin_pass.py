"""The pass that finds kin in everything held, step by step.

Three rounds over all images there were when it began: the first decodes again what an earlier
release of the decoder took in, the second makes the normal form and the fingerprints of each
anew, the third compares each with those who share most with it. A step is a batch of images;
done twice, it comes to the same. What was decoded or compared is written in a short transaction
afterwards, so that nobody who uploads has to wait long.
"""

from dataclasses import asdict
from typing import Final

from sqlalchemy import Engine, func, select

from server.catalog import fixity, forms, kinship, redecoding
from server.catalog.work import COMMAND, Work, unit_of_work
from server.jobs.passes import Batch, next_ids
from server.store import fingerprints as index
from server.store.kin import Kinship
from server.tape.kinship import fingerprints

BATCH = 50
"""Images in a step: about a second's work, which is what a crash costs."""


def decode(engine: Engine, after: int, up_to: int) -> Batch:
    """Decode the next images again, those that this release of the decoder has not seen."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        ids = next_ids(work, after, up_to, BATCH)
        decoded = redecoding.decoded_again(work, ids)
    with unit_of_work(engine, COMMAND) as work:
        for each in decoded:
            redecoding.keep(work, each)
    return Batch.of(ids, up_to)


def remake(engine: Engine, after: int, up_to: int) -> Batch:
    """Make the forms and fingerprints of the next images anew."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        ids = next_ids(work, after, up_to, BATCH)
        # What is made of damaged frames would be worse than what was made of them when sound.
        sound = set(ids) - fixity.failing_ids(work)
        made = [(each, form, fingerprints(form)) for each, form in forms.remade(work, sound)]
    with unit_of_work(engine, COMMAND) as work:
        for image_id, form, hashes in made:
            kinship.keep(work, image_id, form, hashes)
    return Batch.of(ids, up_to)


def compare(engine: Engine, after: int, up_to: int) -> Batch:
    """Find the kin of the next images.

    Of a pair, what its older image found stays: the younger one may have too many others.
    """
    with unit_of_work(engine, COMMAND, writes=False) as work:
        ids = next_ids(work, after, up_to, BATCH)
        found = [(each, _kin(work, each)) for each in ids]
    with unit_of_work(engine, COMMAND) as work:
        for image_id, kin in found:
            kinship.record(work, image_id, kin, since=image_id)
    return Batch.of(ids, up_to, sum(len(kin) for _, kin in found))


def _kin(work: Work, image_id: int) -> tuple[kinship.Found, ...]:
    form = forms.of(work, {image_id})[image_id]
    return kinship.find(work, form, index.of(work.session, image_id), besides=image_id)


ROUNDS: Final = {"decode": decode, "remake": remake, "compare": compare}


def act(engine: Engine, name: str, after: int, up_to: int) -> dict[str, int]:
    """The batch of one round, as values that can be written down."""
    return asdict(ROUNDS[name](engine, after, up_to))


def pairs(engine: Engine) -> int:
    """How many pairs of kin are recorded now."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        return work.session.scalar(select(func.count()).select_from(Kinship)) or 0
