"""kill -9 at any moment of a fixity audit: another process goes on, and every event is there once.

The frames of some images are spoilt in the database file itself, past the triggers; the replica is
a copy of the library from before.
"""

from collections import Counter

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session
from sqlmodel import col

from server.catalog import fixity
from server.catalog.fixity import Audit
from server.catalog.fixity_events import digest
from server.catalog.work import COMMAND, unit_of_work
from server.jobs.background import Background
from server.jobs.state import Pass, Standing
from server.settings import Settings
from server.store.events import Event
from server.store.images import ImageRow
from tests.faults.killed_pass import killed_beyond
from tests.jobs.test_kin_pass import fill
from tests.jobs.waiting import until_over
from tests.replica import replica_url
from tests.spoiling import spoil

AUDITOR = "tests.faults.fixity_auditor"
KILLS = 3


def test_an_audit_killed_again_and_again_tells_and_mends_everything_once(
    engine: Engine, settings: Settings, request: pytest.FixtureRequest
):
    fill(engine, families=8)
    replica = replica_url(request, settings)
    with Session(engine) as session:
        names = list(session.scalars(select(col(ImageRow.sha256)).order_by(col(ImageRow.id))))
    spoilt = names[3::5]
    for sha256 in spoilt:
        spoil(engine, sha256)

    reached, far = [], 0
    for _ in range(KILLS):
        far = killed_beyond(AUDITOR, [settings.database_url, replica], far, longest=0.1)
        reached.append(far)
    assert reached == sorted(set(reached)), "it began again from the beginning"
    assert far < len(names)

    with Background(settings.model_copy(update={"replica": replica})) as background:
        done = until_over(background, Pass.FIXITY)

    assert (done.standing, done.by) == (Standing.DONE, "auditor")
    assert done.result == {"images": 25, "failing": len(spoilt), "mended": len(spoilt)}
    with unit_of_work(engine, COMMAND) as work:
        assert fixity.failures(work) == ()
        (audit,) = fixity.audits(work, 5)
        assert isinstance(audit, Audit)
        assert (audit.images, audit.failing, audit.left) == (25, len(spoilt), 0)
        told = work.session.execute(
            select(col(Event.object_key), col(Event.type), col(Event.outcome)).where(
                col(Event.type).in_(["fixity check", "replication"]),
                col(Event.object_kind) == "image",
            )
        )
        counted = Counter(tuple(each) for each in told)
        assert counted == {
            (sha256, kind, outcome): 1
            for sha256 in spoilt
            for kind, outcome in (
                ("fixity check", "fail"),
                ("replication", "success"),
                ("fixity check", "success"),
            )
        }
        for image in work.session.scalars(select(ImageRow)):
            assert digest(image.frames) == image.sha256
