"""Search among 1,000 and many listings, beside SQL's LIKE and `grep -r` over the same texts.

    python -m tests.bench.bench_search [listings [postgres]]

The same needles, drawn as `tests.bench.club_listings` says, are asked of the catalog (a whole
page: titles, lines, excerpts), of LIKE over the same tables, and of grep over the same texts as
files. Each takes its turn in one run; trust the ratios, not the milliseconds. Beside the time on
the clock stands that of the processor, which is the same on a busy machine.

Exits with 1 where a ratio is beyond its bound.
"""

import hashlib
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from itertools import islice
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import numpy as np
from sqlalchemy import Engine, insert, text
from sqlalchemy.orm import Session

from server.catalog.search import SearchQuery, find
from server.catalog.work import VISITOR, unit_of_work
from server.store.engine import reading
from server.store.listings import pack_listing
from server.store.search import fold, grams_of_texts, index_of, index_record
from server.store.tables import Decoding, ImageRow, ListingText, Reading, Tape
from server.store.tapes import accession_key
from server.store.texts import LISTINGS
from tests.bench.bench_kinship import empty_library
from tests.bench.club_listings import MIX, Club, Needle, needles
from tests.bench.processor import processor_of
from tests.store.rows import NOW, listing_of

FEW = 1_000
MANY = 20_000
ASKED = 300
SLOW_WAYS = 24
"""Of the needles so many are asked of LIKE and of grep, which take long."""

LEAST_FASTER = 50.0
MOST_GROWTH = 5.0
BATCH = 200

LIKE = (
    "SELECT image_id FROM listing_text WHERE body LIKE :run ESCAPE '\\'"
    " UNION ALL SELECT object_id FROM record_text WHERE body LIKE :run ESCAPE '\\'"
)


class Times(NamedTuple):
    """Milliseconds of each needle, by the clock and by the processor."""

    clock: list[float]
    processor: list[float]

    def p95(self) -> tuple[float, float]:
        return float(np.quantile(self.clock, 0.95)), float(np.quantile(self.processor, 0.95))


class Library:
    """A library that grows, and the same texts as files."""

    def __init__(self, engine: Engine, folder: Path) -> None:
        self.engine, self.folder = engine, folder
        self.club = Club(20261125)
        self.some: list[str] = []
        self.titles: list[str] = []
        self.characters = 0
        self.indexing = 0.0

    def grow(self, count: int) -> None:
        """Add listings, each read from a tape, until there are so many."""
        while len(self.titles) < count:
            first = len(self.titles)
            last = min(first + BATCH, count)
            titles = [self.club.words(2, 4).title() for _ in range(first, last)]
            bodies = {number + 1: self.club.listing() for number in range(first, last)}
            self.titles += titles
            if len(self.some) < FEW:
                self.some += bodies.values()
            self.characters += sum(map(len, bodies.values()))
            with Session(self.engine) as session, session.begin():
                self._put(session, bodies, titles)
            for number, body in bodies.items():
                place = self.folder / f"{number // 1000}"
                place.mkdir(exist_ok=True)
                (place / f"{number}.txt").write_text(body)

    def _put(self, session: Session, bodies: dict[int, str], titles: list[str]) -> None:
        session.execute(insert(ImageRow), [image(*each) for each in bodies.items()])
        session.execute(insert(Decoding), [decoding(*each) for each in bodies.items()])
        tapes = [tape(number, title) for number, title in zip(bodies, titles, strict=True)]
        session.execute(insert(Tape), tapes)
        readings = [
            {"image_id": number, "tape_id": number, "file_name": "a.bin", "accepted_at": NOW}
            for number in bodies
        ]
        session.execute(insert(Reading), readings)
        begun = time.process_time()
        folded = {number: fold(body) for number, body in bodies.items()}
        texts = [{"image_id": number, "body": body} for number, body in folded.items()]
        session.execute(insert(ListingText), texts)
        grams = [(number, grams_of_texts(body)) for number, body in folded.items()]
        index_of(session).put(session, LISTINGS.index, grams)
        self.indexing += time.process_time() - begun
        for row in tapes:
            fields = {"accession_number": row["accession_number"], "title": row["title"]}
            index_record(session, "tape", row["id"], fields)


def image(number: int, body: str) -> dict[str, object]:
    frames = f"{number}\n{body}".encode()
    sha256 = hashlib.sha256(frames).hexdigest()
    row = {"id": number, "sha256": sha256, "size": len(body), "levels": 8, "created_at": NOW}
    return row | {"frames": frames}


def decoding(number: int, body: str) -> dict[str, object]:
    return {
        "image_id": number,
        "decoder_release": "1",
        "superseded": False,
        "decoded_at": NOW,
        "format": "text",
        "language": "basic",
        "orientation": "as-read",
        "leader_frames": 0,
        "trailer_frames": 0,
        "data_start": 0,
        "data_stop": len(body),
        "check_status": "no-check",
        "content_sha256": "",
        "loader": "language interpreter",
        "line_count": body.count("\n"),
        "findings": [],
        "identified": [],
        "load_ranges": [],
        "listing": pack_listing(listing_of(body)),
        "content": b"",
    }


def tape(number: int, title: str) -> dict[str, Any]:
    accession = f"{1970 + number % 50}.{number}"
    return {
        "id": number,
        "accession_number": accession,
        "accession_key": accession_key(accession),
        "title": title,
        "medium": ("paper", "polyester")[number % 2],
        "condition": "good",
        "place": f"Shelf {number % 40}",
        "created_at": NOW,
        "updated_at": NOW,
    }


def timed(engine: Engine, asked: list[Needle], way: Callable[[str], object]) -> Times:
    times, processor = Times([], []), processor_of(engine)
    for needle in asked:
        clock, worked = time.perf_counter(), processor()
        way(needle.text)
        times.clock.append(1000 * (time.perf_counter() - clock))
        times.processor.append(1000 * (processor() - worked))
    return times


def page(engine: Engine, *, facets: bool = False) -> Callable[[str], object]:
    def ask(needle: str) -> object:
        with unit_of_work(engine, VISITOR, writes=False) as work:
            return find(work, SearchQuery(q=needle, facets=facets))

    return ask


def like(engine: Engine) -> Callable[[str], object]:
    def ask(needle: str) -> object:
        run = fold(needle).replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
        with reading(engine).connect() as connection:
            if engine.dialect.name == "postgresql":
                # In one process, whose work can be counted.
                connection.execute(text("SET LOCAL max_parallel_workers_per_gather = 0"))
            return connection.execute(text(LIKE), {"run": f"%{run}%"}).all()

    return ask


def grep(folder: Path) -> Callable[[str], object]:
    def ask(needle: str) -> object:
        command = ["grep", "-rlF", "-e", needle, str(folder)]
        return subprocess.run(command, capture_output=True, check=False).stdout

    return ask


def index_bytes(engine: Engine) -> int:
    if engine.dialect.name == "sqlite":
        sizes = "SELECT sum(pgsize) FROM dbstat WHERE name LIKE 'listing\\_search%' ESCAPE '\\'"
    else:
        sizes = "SELECT pg_total_relation_size('listing_search')"
    with engine.connect() as connection:
        return int(connection.execute(text(sizes)).scalar_one())


def told(name: str, times: Times) -> None:
    middle, (clock, processor) = float(np.median(times.clock)), times.p95()
    print(f"{name:34} p50 {middle:8.2f}  p95 {clock:8.2f} ms, of the processor {processor:8.2f}")


def slowest(asked: list[Needle], times: Times) -> str:
    worst = np.argsort(times.processor)[-5:][::-1]
    return ", ".join(f"{asked[at].text!r} {times.processor[at]:.1f} ms" for at in worst)


def by_kind(asked: list[Needle], times: Times) -> None:
    for kind, share in MIX.items():
        mine = [
            took for needle, took in zip(asked, times.processor, strict=True) if needle.kind == kind
        ]
        if mine:
            print(
                f"    {share:2} % {kind:28} p95 {np.quantile(mine, 0.95):8.2f} ms of the processor"
            )


def measure(engine: Engine, folder: Path, count: int) -> int:
    library = Library(engine, folder)
    library.grow(FEW)
    asked = list(islice(needles(Random(11), library.some, library.titles), ASKED))
    settle(engine)
    timed(engine, asked[:40], page(engine))  # so that nothing is measured cold
    small = timed(engine, asked, page(engine))
    with built_at_the_end(engine):
        library.grow(count)
    settle(engine)
    timed(engine, asked[:40], page(engine))
    large = timed(engine, asked, page(engine))
    with_facets = timed(engine, asked, page(engine, facets=True))
    slow = asked[:SLOW_WAYS]
    peers = {
        "LIKE": timed(engine, slow, like(engine)),
        "grep -r": timed(engine, slow, grep(folder)),
    }
    print(f"{count:,} listings, {library.characters / 1e6:.1f} MB, {len(asked)} needles")
    size = index_bytes(engine) / library.characters
    print(f"index: {size:.2f} bytes for each byte of listing,", end=" ")
    print(f"{1000 * library.indexing / count:.2f} ms of the processor to put one in")
    told(f"a page among {FEW:,}", small)
    told(f"a page among {count:,}", large)
    by_kind(asked, large)
    told("    with counts on its facets", with_facets)
    print(f"    the slowest: {slowest(asked, large)}")
    failed = False
    for name, times in peers.items():
        told(name, times)
        ratios = [theirs / ours for theirs, ours in zip(times.p95(), large.p95(), strict=True)]
        print(
            f"    a page is {ratios[0]:.0f} times as fast at p95, by the processor {ratios[1]:.0f}"
        )
        failed = failed or ratios[1] < LEAST_FASTER
    growth = [many / few for many, few in zip(large.p95(), small.p95(), strict=True)]
    print(f"{count:,} beside {FEW:,}: p95 x {growth[0]:.2f}, by the processor x {growth[1]:.2f}")
    return int(failed or growth[1] > MOST_GROWTH)


@contextmanager
def built_at_the_end(engine: Engine) -> Iterator[None]:
    """Let PostgreSQL build its index when all is in, as it does when a backup is restored.

    Tape after tape it would take hours for a large library, and come to the same.
    """
    if engine.dialect.name == "sqlite":
        yield
        return
    named = "SELECT indexname, indexdef FROM pg_indexes WHERE tablename = 'listing_search'"
    with engine.begin() as connection:
        made = connection.execute(text(f"{named} AND indexdef LIKE '%gin%'")).all()
        for name, _ in made:
            connection.execute(text(f"DROP INDEX {name}"))
    yield
    with engine.begin() as connection:
        connection.execute(text("SET LOCAL statement_timeout = 0"))
        connection.execute(text("SET LOCAL maintenance_work_mem = '1GB'"))
        for _, definition in made:
            connection.execute(text(definition))


def settle(engine: Engine) -> None:
    """Let the planner know what there is."""
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("ANALYZE"))


def main(count: str = str(MANY), database: str = "sqlite") -> int:
    """Measure on SQLite, or on a PostgreSQL server started for the purpose."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        engine = stack.enter_context(empty_library(database))
        return measure(engine, folder, int(count))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
