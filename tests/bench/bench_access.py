"""Lists and searches of a visitor, beside the same asked by an archivist, to whom all is open.

    python -m tests.bench.bench_access [--tapes 3000]

`alone` is what the archivist's question takes, the middle of many, in milliseconds; then how many
times that the visitor's takes where nothing is closed, where every hundredth tape is, and where
every second is. The two alternate in one run, and nothing is remembered from one to the next.
"""

import argparse
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from statistics import median

from sqlalchemy import Engine, update
from sqlalchemy.orm import Session
from sqlmodel import col

from server.catalog import byte_search, facets, search
from server.catalog.byte_values import ByteQuery
from server.catalog.search_values import SearchQuery
from server.catalog.shelf import rows as shelf_rows
from server.catalog.tape_values import Sort, TapeQuery
from server.catalog.work import VISITOR, Actor, Role, Work, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import migrate
from server.store.tapes import Tape
from tests.store import rows

ARCHIVIST = Actor(None, "archivist", Role.ARCHIVIST)
ROUNDS = 40
SHARES = {"nothing": 0, "a hundredth": 100, "half": 2}
"""Every so manieth tape is closed."""

QUESTIONS: Mapping[str, Callable[[Work], object]] = {
    "list": lambda work: shelf_rows(work.session, TapeQuery()),
    "list by title, page 30": lambda work: shelf_rows(
        work.session, TapeQuery(sort=Sort.TITLE, page=30)
    ),
    "facets": lambda work: facets._count(work.session, TapeQuery()),
    "search, in every listing": lambda work: search.find(work, SearchQuery(q="print")),
    "search, in one listing": lambda work: search.find(work, SearchQuery(q="harbour 1234 ")),
    "search with facets": lambda work: search.find(work, SearchQuery(q="harbour", facets=True)),
    "bytes": lambda work: byte_search.find(work, ByteQuery(bytes='"HARBOUR 77 "')),
}


def fill(engine: Engine, count: int) -> None:
    with Session(engine) as session, session.begin():
        for number in range(1, count + 1):
            listing = f'10 PRINT "HARBOUR {number} "\n20 GOTO 10\n' + "30 REM TIDES\n" * 20
            tape = rows.add_tape(session, f"2018.{number}", f"Harbour log {number}")
            rows.add_reading(session, rows.add_image(session, listing), tape)


def close(engine: Engine, every: int) -> None:
    with Session(engine) as session, session.begin():
        session.execute(update(Tape).values(access="public"))
        if every:
            some = update(Tape).where(col(Tape.id) % every == 0)
            session.execute(some.values(access="restricted"))


def milliseconds(engine: Engine, actor: Actor, ask: Callable[[Work], object]) -> float:
    began = time.perf_counter()
    with unit_of_work(engine, actor, writes=False) as work:
        ask(work)
    return (time.perf_counter() - began) * 1000


def times(engine: Engine, ask: Callable[[Work], object]) -> tuple[float, float]:
    """The middle of the archivist's question alone, and how many times that a visitor's takes."""
    alone, limited = [], []
    for _ in range(ROUNDS):
        alone.append(milliseconds(engine, ARCHIVIST, ask))
        limited.append(milliseconds(engine, VISITOR, ask))
    return median(alone), median(limited) / median(alone)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--tapes", type=int, default=3000)
    count = parser.parse_args().tapes
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(Settings(database_url=f"sqlite:///{Path(folder) / 'library.db'}"))
        migrate(engine)
        fill(engine, count)
        print(f"{count:,} tapes{'alone':>30}" + "".join(f"{name:>14}" for name in SHARES))
        told: dict[str, list[float]] = {name: [] for name in QUESTIONS}
        for every in SHARES.values():
            close(engine, every)
            for name, ask in QUESTIONS.items():
                alone, ratio = times(engine, ask)
                told[name] += [ratio] if told[name] else [alone, ratio]
        for name, (alone, *ratios) in told.items():
            print(f"{name:<28}{alone:>9.2f} ms" + "".join(f"{ratio:>14.2f}" for ratio in ratios))
        engine.dispose()


if __name__ == "__main__":
    main()
