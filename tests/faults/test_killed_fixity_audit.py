"""kill -9 at any moment of a fixity audit: another process goes on, and every event is there once.

The frames of some images are spoilt in the database file itself, past the triggers; the replica is
a copy of the library from before.
"""

import random
import signal
import subprocess
import sys
import time
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
from server.jobs.state import Pass, PassState, Standing
from server.settings import Settings
from server.store.events import Event
from server.store.images import ImageRow
from tests.jobs.test_kin_pass import fill
from tests.replica import replica_url
from tests.spoiling import spoil

KILLS = 3
LONGEST_SECONDS = 60


def killed_beyond(urls: list[str], hashed: int) -> int:
    """How far an audit had said it was when it was killed, beyond so many images."""
    done = 0
    with subprocess.Popen(
        [sys.executable, "-m", "tests.faults.fixity_auditor", *urls],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            assert line.strip().isdecimal(), "it came to its end before it could be killed"
            done = int(line)
            if done > hashed:
                break
        time.sleep(random.Random(hashed).uniform(0, 0.1))
        process.send_signal(signal.SIGKILL)
        _, complaints = process.communicate(timeout=30)
    assert process.returncode == -signal.SIGKILL, complaints
    return done


def to_its_end(settings: Settings) -> PassState:
    with Background(settings) as background:
        until = time.monotonic() + LONGEST_SECONDS
        while time.monotonic() < until:
            found = background.last_pass(Pass.FIXITY)
            assert found is not None
            if found.standing.is_over:
                return found
            time.sleep(0.05)
    raise AssertionError("nobody took the audit up")


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
        far = killed_beyond([settings.database_url, replica], far)
        reached.append(far)
    assert reached == sorted(set(reached)), "it began again from the beginning"
    assert far < len(names)

    done = to_its_end(settings.model_copy(update={"replica": replica}))

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
