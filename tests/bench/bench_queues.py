"""Queues of work in a library of 100,000 tapes, beside the first page of the list of tapes.

    python -m tests.bench.bench_queues [--tapes 100000]

`counted` is the count as the first page tells it, up to 1,000; `in all` the count of the list,
`page` the question for its first 50 entries: the middle of five, in milliseconds.
`of a list` is how many first pages of the list of tapes the count takes. Nothing is remembered
from one to the next. The library is invented: nearly everything is read, vouched for, looked at
and put to a program, which is when a queue has most to pass over and least to find.
"""

import argparse
import hashlib
import random
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from statistics import median

from sqlalchemy import Engine, insert

from server.catalog.queues import QUEUES, Asked, held_in
from server.catalog.queues.values import CAP
from server.catalog.shelf import rows as shelf_rows
from server.catalog.tape_values import TapeQuery
from server.catalog.work import VISITOR, Work, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import migrate
from server.store.tables import ConditionReport, ImageRow, Kinship, Program, Reading, Tape
from server.store.tapes import accession_key

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TODAY = NOW.date()
FRAMES = random.Random(7).randbytes(3000)
TAPES_A_PROGRAM = 5
AT_ONCE = 5000
ROUNDS = 5

Rows = Iterator[dict[str, object]]


def programs(count: int) -> Rows:
    for number in range(1, count // TAPES_A_PROGRAM + 2):
        yield {"id": number, "title": f"Program {number}", "created_at": NOW, "updated_at": NOW}


def images(count: int) -> Rows:
    for number in range(1, count + 1):
        name = hashlib.sha256(str(number).encode()).hexdigest()
        yield {"id": number, "sha256": name, "size": len(FRAMES), "levels": 8, "created_at": NOW,
               "frames": FRAMES}  # fmt: skip


def shelf(count: int) -> Rows:
    chance = random.Random(1)
    for number in range(1, count + 1):
        accession = f"2018.{number}"
        yield {
            "id": number,
            "accession_number": accession,
            "accession_key": accession_key(accession),
            "title": f"Tape {number}",
            "program_id": None if number % 200 == 0 else number // TAPES_A_PROGRAM + 1,
            "medium": "paper",
            "condition": "good",
            "created_at": NOW,
            "updated_at": NOW,
            "image_id": number if number % 300 else None,
            "format": "text",
            "check_status": "damaged" if chance.random() < 0.01 else "sound",
            "verified": 0 if chance.random() < 0.02 else 1,
            "last_report": reported(number),
        }


def passes(count: int) -> Rows:
    """One of nearly every tape, two of every fifth."""
    for number in range(1, count + 1):
        for _ in range(0 if number % 300 == 0 else 2 if number % 5 == 0 else 1):
            yield {"image_id": number, "tape_id": number, "accepted_at": NOW}


def reports(count: int) -> Rows:
    for number in range(1, count + 1):
        yield {"tape_id": number, "checked_on": reported(number), "state": "good",
               "created_at": NOW, "updated_at": NOW}  # fmt: skip


def reported(number: int) -> date:
    days = random.Random(number).randrange(1500 if number % 250 else 4000)
    return date(2026, 11, 1) - timedelta(days=days)


def kin(count: int) -> Rows:
    """Four pairs among the tapes of each program."""
    for first in range(TAPES_A_PROGRAM, count - TAPES_A_PROGRAM, TAPES_A_PROGRAM):
        for one, two in ((0, 1), (1, 2), (2, 3), (0, 4)):
            yield {"image_a_id": first + one, "image_b_id": first + two, "kind": "near",
                   "similarity": 0.9, "distance": 1, "added": 0, "removed": 0,
                   "changed": 1}  # fmt: skip


def fill(engine: Engine, count: int) -> None:
    """The library, without the triggers that would work out again what is given here."""
    with engine.begin() as connection:
        found = connection.exec_driver_sql(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%to_tape%'"
        ).all()
        for name, _ in found:
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        for table, rows in (
            (Program, programs(count)), (ImageRow, images(count)), (Tape, shelf(count)),
            (Reading, passes(count)), (ConditionReport, reports(count)), (Kinship, kin(count)),
        ):  # fmt: skip
            several = list(rows)
            for at in range(0, len(several), AT_ONCE):
                connection.execute(insert(table), several[at : at + AT_ONCE])
        for _, statement in found:
            connection.exec_driver_sql(statement)


def middle(work: Callable[[], object]) -> float:
    """How many milliseconds it takes: the middle of several times, the first one left out."""
    work()
    took = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        took.append((time.perf_counter() - began) * 1000)
    return median(took)


def measure(work: Work) -> None:
    asked = Asked(TODAY, 5)
    query = TapeQuery(page_size=50)
    listed = middle(lambda: shelf_rows(work.session, query))
    print(f"{'':18} {'holds':>7} {'counted':>9} {'in all':>9} {'page':>9} {'of a list':>10}")
    for name, queue in QUEUES.items():
        total = held_in.how_many(work.session, queue, asked, None)
        counted = middle(lambda: held_in.how_many(work.session, queue, asked, CAP + 1))  # noqa: B023
        whole = middle(lambda: held_in.how_many(work.session, queue, asked, None))  # noqa: B023

        def page() -> None:
            work.session.execute(queue.asks(asked).limit(50)).all()  # noqa: B023

        print(f"{name:18} {total:>7,} {counted:>9.1f} {whole:>9.1f} {middle(page):>9.1f}"
              f" {counted / listed:>10.2f}")  # fmt: skip
    print(f"first page of the list of tapes: {listed:.1f} ms")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tapes", type=int, default=100_000)
    count = parser.parse_args().tapes
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'library.db'}")
        engine = make_engine(settings)
        migrate(engine)
        fill(engine, count)
        with unit_of_work(engine, VISITOR, writes=False) as work:
            measure(work)
        engine.dispose()


if __name__ == "__main__":
    main()
