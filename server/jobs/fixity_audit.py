"""The pass that hashes every image again, and mends what fails from the replica if there is one.

A step is a batch of images, each read in a short transaction that holds nobody up; only where
something fails, or is found intact again, is anything written.
"""

from dataclasses import asdict
from datetime import datetime
from typing import Any

from sqlalchemy import Engine

from server.catalog import audits
from server.catalog.work import COMMAND, unit_of_work
from server.jobs.passes import Batch, Plan, next_ids

BATCH = 200
"""Images in a step."""

ROUND = "hash"


def hash_again(engine: Engine, replica: Engine | None, audit: str, after: int, up_to: int) -> Batch:
    """Hash the next images, and settle what fails."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        ids = next_ids(work, after, up_to, BATCH)
    intact: list[str] = []
    failing = 0
    for image_id in ids:
        checked = audits.check(engine, image_id)
        if checked.is_intact:
            intact.append(checked.sha256)
            continue
        failing += 1
        good = audits.good_copy(replica, checked.sha256)
        with unit_of_work(engine, COMMAND) as work:
            audits.settle(work, audit, checked, good)
    _acquit(engine, audit, intact)
    return Batch.of(ids, up_to, failing)


def _acquit(engine: Engine, audit: str, intact: list[str]) -> None:
    with unit_of_work(engine, COMMAND, writes=False) as work:
        again = audits.failing_among(work, intact)
    if again:
        with unit_of_work(engine, COMMAND) as work:
            audits.acquit(work, audit, again)


def act(
    engine: Engine, replica: Engine | None, audit: str, after: int, up_to: int
) -> dict[str, int]:
    """The batch, as values that can be written down."""
    return asdict(hash_again(engine, replica, audit, after, up_to))


def begin(engine: Engine) -> datetime:
    """When an audit that begins now began, by the clock that events go by."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        return work.now


def conclude(engine: Engine, audit: str, by: str, started: datetime, plan: Plan) -> dict[str, Any]:
    """Write down what the audit found in all; its counts."""
    with unit_of_work(engine, COMMAND) as work:
        found = audits.conclude(
            work, audit, by=by, started=started, images=plan.images, up_to=plan.up_to
        )
    return {"images": found.images, "failing": found.failing, "mended": found.mended}


def is_due(engine: Engine, days: float) -> bool:
    """Whether the last audit is longer ago than so many days."""
    with unit_of_work(engine, COMMAND, writes=False) as work:
        return audits.is_due(work, days)
