"""Uploads one generated tape after another, until somebody kills it.

    python -m tests.faults.uploader DATABASE_URL SEED

Prints the SHA-256 of each image after its transaction has ended, and not before.
"""

import random
import sys
from collections.abc import Iterator

from sqlalchemy import Engine

from server.catalog.accession import Upload, accept, examine
from server.catalog.work import COMMAND, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine

LEADER = bytes(40)


def programs(seed: int) -> Iterator[str]:
    """Programs of three families, so that new ones are kin of older ones; some come twice."""
    rng = random.Random(seed)
    last = ""
    for serial in range(10**6):
        if last and not rng.randrange(5):
            yield last
            continue
        family = rng.choice(("TIDE", "KILN", "LOOM"))
        body = [f'{line} PRINT "{family} {line * 7}"' for line in range(10, 400, 10)]
        body.insert(rng.randrange(len(body)), f"5 REM MARK {seed}/{serial}/")
        last = "\r\n".join(body) + "\r\n"
        yield last


def upload(engine: Engine, program: str) -> str:
    """Upload one program; its image's name, once it is kept."""
    data = LEADER + program.encode("ascii") + LEADER
    examined = examine(Upload(file_name="tape.bin", data=data), len(data))
    with unit_of_work(engine, COMMAND) as work:
        return accept(work, examined).image.sha256


def main(url: str, seed: int) -> None:
    engine = make_engine(Settings(database_url=url))
    for program in programs(seed):
        print(upload(engine, program), flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
