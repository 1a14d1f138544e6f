"""Finds kin in everything, a few images a step, and says how far it is, until somebody kills it.

python -m tests.faults.kin_finder DATABASE_URL
"""

import sys
import time

from server.jobs import kin_pass
from server.jobs.background import Background
from server.jobs.state import Pass
from server.settings import Settings

BATCH = 3


def main(url: str) -> None:
    kin_pass.BATCH = BATCH
    with Background(Settings(database_url=url)) as background:
        background.take_over()
        state = background.start_pass(Pass.KIN, "finder")
        while not state.standing.is_over:
            print(state.progress.done, flush=True)
            time.sleep(0.02)
            state = background.last_pass(Pass.KIN) or state
        print(state.standing, flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
