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

BATCH = 3
CHECK = audits.check


def slowly(engine: Engine, image_id: int) -> Checked:
    time.sleep(0.05)
    return CHECK(engine, image_id)


def main(url: str, replica: str) -> None:
    fixity_audit.BATCH = BATCH
    audits.check = slowly
    with Background(Settings(database_url=url, replica=replica)) as background:
        background.take_over()
        state = background.start_pass(Pass.FIXITY, "auditor")
        while not state.standing.is_over:
            print(state.progress.done, flush=True)
            time.sleep(0.02)
            state = background.last_pass(Pass.FIXITY) or state
        print(state.standing, flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
