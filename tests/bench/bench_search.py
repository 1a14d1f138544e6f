"""Search at 20,000 generated listings, beside SQLite's own LIKE over the same table.

    python -m tests.bench.bench_search [listings]

Both are asked in the same run, in turn; trust the ratio, not the milliseconds.
"""

import hashlib
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from sqlalchemy import Engine, insert, select, text
from sqlalchemy.orm import Session

from server.catalog.search import SearchQuery, find
from server.catalog.work import VISITOR, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine, reading
from server.store.listings import pack_listing
from server.store.migration import migrate
from server.store.search import fold, holds
from server.store.tables import Decoding, ImageRow, ListingText
from server.store.texts import LISTINGS
from tests.store.rows import NOW, listing_of

LISTINGS_HELD = 20_000
REPEATS = 5
BATCH = 500
RARE = "XYLOPHONE SOLO"

NEEDLES = {
    "one listing in all": RARE,
    "a rare run across signs": "=Q*77+",
    "two words in a row": "HARBOUR LANTERN",
    "a common word": "PRINT",
    "a run that nobody typed": "ZQZQZQ",
    "two characters, common": "IF",
    "two characters, nowhere": "@@",
}

NAMES = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

WORDS = (
    "HARBOUR LANTERN BARLEY COPPER DRUM ESTUARY FERRY GRANARY HEDGE INLET JETTY KILN LOOM MILL"
    " NETTLE ORCHARD PLOUGH QUARRY RAFTER SLATE THATCH UPLAND VIADUCT WEIR YARROW BRACKEN CINDER"
    " DAPPLE EMBER FURROW GIRDER HINGE ISLAND JUNIPER KESTREL LATTICE MARROW NOZZLE OATS PEWTER"
).split()


def lines(rng: random.Random) -> Iterator[str]:
    """The lines of a program that nobody would want to run, about 5 kB of them."""
    forms = (
        lambda: f'PRINT "{rng.choice(WORDS)} {rng.choice(WORDS)}"',
        lambda: (
            f"LET {rng.choice(NAMES)}={rng.choice(NAMES)}*{rng.randrange(100)}+{rng.randrange(9)}"
        ),
        lambda: f"IF {rng.choice(NAMES)}>{rng.randrange(1000)} THEN {rng.randrange(4200)}",
        lambda: f"REM {rng.choice(WORDS)} {rng.choice(WORDS)} {rng.choice(WORDS)}",
        lambda: f"GOSUB {rng.randrange(4200)}",
    )
    for number in range(10, 10 * rng.randint(60, 420), 10):
        yield f"{number} {rng.choice(forms)()}"


def generated(count: int) -> Iterator[str]:
    rng = random.Random(20261125)
    for at in range(count):
        body = "\n".join(lines(rng)) + "\n"
        yield body + f"9999 REM {RARE}\n" if at == count // 2 else body


def fill(engine: Engine, count: int) -> tuple[int, float]:
    """Put `count` listings in; how many characters they have, and the seconds of their index."""
    characters, seconds = 0, 0.0
    bodies = generated(count)
    for start in range(1, count + 1, BATCH):
        some = {number: next(bodies) for number in range(start, min(start + BATCH, count + 1))}
        characters += sum(map(len, some.values()))
        with Session(engine) as session, session.begin():
            session.execute(insert(ImageRow), [image(*each) for each in some.items()])
            session.execute(insert(Decoding), [decoding(*each) for each in some.items()])
            begun = time.perf_counter()
            session.execute(
                insert(ListingText),
                [{"image_id": number, "body": fold(body)} for number, body in some.items()],
            )
            seconds += time.perf_counter() - begun
    return characters, seconds


def image(number: int, body: str) -> dict[str, object]:
    sha256 = hashlib.sha256(body.encode()).hexdigest()
    row = {"id": number, "sha256": sha256, "size": len(body), "levels": 8, "created_at": NOW}
    return row | {"frames": body.encode()}


def decoding(number: int, body: str) -> dict[str, object]:
    return {
        "image_id": number,
        "decoder_release": "1",
        "superseded": False,
        "decoded_at": NOW,
        "format": "text",
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


def milliseconds(*ways: Callable[[], int]) -> list[tuple[float, int]]:
    """The median of each way in milliseconds, and its answer; the ways take turns."""
    taken: list[list[float]] = [[] for _ in ways]
    answers = [way() for way in ways]
    for _ in range(REPEATS):
        for way, times in zip(ways, taken, strict=True):
            begun = time.perf_counter()
            way()
            times.append(1000 * (time.perf_counter() - begun))
    return list(zip(map(statistics.median, taken), answers, strict=True))


def compare(engine: Engine, needle: str) -> list[tuple[float, int]]:
    """LIKE; the index, for every listing that holds the needle; and one page of the catalog."""
    like = text("SELECT image_id FROM listing_text WHERE body LIKE :pattern")
    with Session(reading(engine)) as session:
        every = select(LISTINGS.key).where(holds(session, LISTINGS, needle))

        def page() -> int:
            with unit_of_work(engine, VISITOR, writes=False) as work:
                return find(work, SearchQuery(q=needle)).total

        return milliseconds(
            lambda: len(session.execute(like, {"pattern": f"%{needle}%"}).all()),
            lambda: len(session.execute(every).all()),
            page,
        )


def index_bytes(engine: Engine) -> int:
    with engine.connect() as connection:
        size = text(
            "SELECT sum(pgsize) FROM dbstat WHERE name LIKE 'listing\\_search%' ESCAPE '\\'"
        )
        return int(connection.execute(size).scalar_one())


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(Settings(database_url=f"sqlite:///{Path(folder)}/bench.db"))
        migrate(engine)
        characters, seconds = fill(engine, count)
        print(f"{count} listings, {characters / 1e6:.1f} MB of text")
        print(
            f"index: {index_bytes(engine) / characters:.2f} bytes for each byte of text,", end=" "
        )
        print(f"{1000 * seconds / count:.2f} ms a listing to store and index")
        print(
            f"{'':26}{'found':>7}{'LIKE ms':>9}{'all ms':>8}{'ratio':>7}{'page ms':>9}{'ratio':>7}"
        )
        for what, needle in NEEDLES.items():
            (like, hits), (every, _), (page, _) = compare(engine, needle)
            print(
                f"{what:26}{hits:>7}{like:>9.1f}{every:>8.2f}{like / every:>7.1f}"
                f"{page:>9.2f}{like / page:>7.1f}"
            )
        engine.dispose()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else LISTINGS_HELD)
