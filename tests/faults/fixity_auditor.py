"""Hashes every image again, a few a step, and says how far it is, until somebody kills it.

python -m tests.faults.fixity_auditor DATABASE_URL REPLICA_URL
"""

import sys
import time

from sqlalchemy import Engine

from server.catalog import audits
from server.catalog.audits import Checked
from server.jobs import fixity_audit
from server.jobs.background import Background
from server.jobs.state import Pass
from server.settings import Settings
from tests.faults.killed_pass import say_how_far

BATCH = 3
CHECK = audits.check


def slowly(engine: Engine, image_id: int) -> Checked:
    time.sleep(0.05)
    return CHECK(engine, image_id)


def main(url: str, replica: str) -> None:
    fixity_audit.BATCH = BATCH
    audits.check = slowly
    with Background(Settings(database_url=url, replica=replica)) as background:
        say_how_far(background, Pass.FIXITY, "auditor")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
