"""The state of a library of 100,000 tapes, beside one page of the list of tapes.

    python -m tests.bench.bench_state [--tapes 100000]

`state` is all that the page on the state of the library tells, worked out anew; `again` the same
when nothing has changed since; `a list` the first page of the list of tapes, worked out anew: the
middle of five, in milliseconds. The library is that of `bench_queues`.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from sqlalchemy import Engine

from server.catalog import state
from server.catalog.shelf import rows as shelf_rows
from server.catalog.tape_values import TapeQuery
from server.catalog.work import VISITOR, Work, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import migrate
from tests.bench.bench_queues import fill

ROUNDS = 5


def spent(engine: Engine, ask: Callable[[Work], object], *, anew: bool) -> float:
    """Milliseconds that `ask` takes; `anew` in a transaction that remembers nothing."""
    times = []
    for _ in range(ROUNDS):
        with unit_of_work(engine, VISITOR, writes=anew) as work:
            begun = time.perf_counter()
            ask(work)
            times.append((time.perf_counter() - begun) * 1000)
    return median(times)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tapes", type=int, default=100_000)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(Settings(database_url=f"sqlite:///{Path(folder) / 'state.db'}"))
        migrate(engine)
        fill(engine, args.tapes)
        told = spent(engine, state.of, anew=True)
        again = spent(engine, state.of, anew=False)
        listed = spent(
            engine, lambda work: shelf_rows(work.session, TapeQuery(page_size=50)), anew=True
        )
        engine.dispose()
    print(f"{args.tapes:,} tapes: state {told:.1f}, again {again:.2f}, a list {listed:.2f} ms")
    print(f"the state takes as long as {told / listed:.1f} pages of the list")


if __name__ == "__main__":
    main()
