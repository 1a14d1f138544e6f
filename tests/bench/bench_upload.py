"""Upload to committed of a tape of 120,000 frames, beside a bare INSERT of as many bytes.

    python -m tests.bench.bench_upload [rounds]

Each round takes in tapes that are not held yet, of several kinds, into a library that grows with
each, and stores as many bytes with one INSERT in a database of the same settings (WAL,
synchronous FULL), in turn. The floor is what any archive on this disk must pay; trust the ratio,
not the milliseconds. `examine` and `meet` hold no lock; `accept` and `commit` hold
the write lock of SQLite.
"""

import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

from sqlalchemy import Engine

from server.catalog import accession
from server.catalog.work import Actor, Role, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import migrate
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.text import Text, TextContent
from server.tape.hexadecimal.program import HexProgram
from tests.bench.programs import program

FRAMES = 120_000
LEADER = 600
LINES = 8_000
"""More than fit: the tape is torn off."""
LIMIT = 10_000_000
KEEPER = Actor(None, "bench", Role.VOLUNTEER)

Taken = dict[str, float]


def cut(frames: bytes) -> bytes:
    """The tape torn off to the length, with a trailer."""
    assert len(frames) >= FRAMES
    return frames[: FRAMES - LEADER] + bytes(LEADER)


def text_tape(number: int) -> bytes:
    lines = program(random.Random(number), LINES)
    return cut(Text().build(TextContent(tuple(lines), leader=LEADER)).frames)


def hex_tape(number: int) -> bytes:
    data = random.Random(number).randbytes(45_000)
    return cut(IntelHex().build(HexProgram({0: data}, leader=LEADER)).frames)


def noise(number: int) -> bytes:
    return random.Random(number).randbytes(FRAMES)


KINDS: dict[str, Callable[[int], bytes]] = {
    "text": text_tape,
    "intel-hex": hex_tape,
    "unrecognised": noise,
}


def take_in(engine: Engine, data: bytes) -> Taken:
    """Milliseconds of each step of one upload."""
    marks = [time.perf_counter()]
    upload = accession.Upload(file_name="bench.bin", data=data)
    examined = accession.examine(upload, LIMIT)
    marks.append(time.perf_counter())
    with unit_of_work(engine, KEEPER, writes=False) as work:
        examined = accession.meet(work, examined)
    marks.append(time.perf_counter())
    with unit_of_work(engine, KEEPER) as work:
        receipt = accession.accept(work, examined)
        marks.append(time.perf_counter())
    marks.append(time.perf_counter())
    assert not receipt.held
    steps = [(after - before) * 1000 for before, after in pairwise(marks)]
    return dict(zip(("examine", "meet", "accept", "commit"), steps, strict=True)) | {
        "all": sum(steps)
    }


def insert_bare(path: Path, data: bytes) -> float:
    """Milliseconds of one INSERT of the bytes and its commit, on a connection that is open."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE IF NOT EXISTS bare (id INTEGER PRIMARY KEY, frames BLOB)")
    start = time.perf_counter()
    connection.execute("INSERT INTO bare (frames) VALUES (?)", (data,))
    taken = (time.perf_counter() - start) * 1000
    connection.close()
    return taken


def main(rounds: int = 15) -> int:
    """Measure and print, a line for each kind of tape."""
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(Settings(database_url=f"sqlite:///{folder}/library.db"))
        migrate(engine)
        taken: dict[str, list[Taken]] = {kind: [] for kind in KINDS}
        bare: dict[str, list[float]] = {kind: [] for kind in KINDS}
        for number in range(rounds + 1):
            for kind, make in KINDS.items():
                data = make(number)
                floor = insert_bare(Path(folder) / "bare.db", data)
                steps = take_in(engine, data)
                if number:  # the first round warms up
                    taken[kind].append(steps)
                    bare[kind].append(floor)
        engine.dispose()
    print(f"{FRAMES} frames; median of {rounds}, in ms")
    print(f"{'':14}" + "".join(f"{name:>10}" for name in (*taken["text"][0], "bare", "ratio")))
    for kind, steps_of in taken.items():
        medians = {name: statistics.median(s[name] for s in steps_of) for name in steps_of[0]}
        floor = statistics.median(bare[kind])
        numbers = [*medians.values(), floor, medians["all"] / floor]
        print(f"{kind:14}" + "".join(f"{number:10.1f}" for number in numbers))
    return 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:2])))
