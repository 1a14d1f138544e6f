"""Finds kin in everything, a few images a step, and says how far it is, until somebody kills it.

python -m tests.faults.kin_finder DATABASE_URL
"""

import sys

from server.jobs import kin_pass
from server.jobs.background import Background
from server.jobs.state import Pass
from server.settings import Settings
from tests.faults.killed_pass import say_how_far

BATCH = 3


def main(url: str) -> None:
    kin_pass.BATCH = BATCH
    with Background(Settings(database_url=url)) as background:
        say_how_far(background, Pass.KIN, "finder")


if __name__ == "__main__":
    main(sys.argv[1])
