"""The list of tapes under 32 clients, beside the same page by raw sqlite3 and the same template.

    python -m tests.bench.bench_pages [tapes [seconds]]

Each is served by one uvicorn worker on the loopback, in turn, round after round in one run; trust
the ratios, not the rates. The page is that of 50 rows, any of the first hundred. Exits with 1
where the real page does less than `LEAST` of the raw one.
"""

import asyncio
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from random import Random
from typing import NamedTuple

from fastapi import FastAPI
from sqlalchemy import Engine, insert

from server.app import create_app
from server.settings import Settings
from server.store.engine import make_engine
from server.store.images import Decoding, ImageRow, Reading
from server.store.kin import Kinship
from server.store.migration import migrate
from server.store.programs import Program
from server.store.tapes import Tape, accession_key
from server.store.verification import Verification
from tests.bench.bench_search import decoding, image
from tests.store.rows import NOW

TAPES = 20_000
CLIENTS = 32
ROUNDS = 5
SECONDS = 4.0
PAGES = 100
LEAST = 0.8
BATCH = 1_000

MEDIA = ("paper", "oiled paper", "polyester", "unknown")
CONDITIONS = ("not examined", "good", "worn", "fragile")

SERVERS = {
    "the page": ("tests.bench.bench_pages:application", {}),
    "raw sqlite3": ("tests.bench.raw_pages:app", {}),
    "raw, counting": ("tests.bench.raw_pages:app", {"RAW_COUNTS": "1"}),
}


def application() -> FastAPI:
    """The real one, with the settings of the environment."""
    return create_app(Settings())


def fill(engine: Engine, count: int) -> None:
    """Tapes with an image each, every fifth without; a program for every ten; some kin."""
    chance = Random(7)
    with engine.begin() as connection:
        programs = [
            {"id": number, "title": f"Program {number}", "created_at": NOW, "updated_at": NOW}
            for number in range(1, count // 10 + 2)
        ]
        connection.execute(insert(Program), programs)
    for start in range(1, count + 1, BATCH):
        numbers = range(start, min(start + BATCH, count + 1))
        read = [number for number in numbers if number % 5]
        bodies = {number: f"10 REM TAPE {number}\n20 END\n" for number in read}
        with engine.begin() as connection:
            connection.execute(insert(ImageRow), [image(*each) for each in bodies.items()])
            connection.execute(insert(Decoding), [decoding(*each) for each in bodies.items()])
            connection.execute(insert(Tape), [tape(chance, number) for number in numbers])
            connection.execute(
                insert(Reading),
                [
                    {"image_id": each, "tape_id": each, "file_name": "a.bin", "accepted_at": NOW}
                    for each in read
                ],
            )
            connection.execute(insert(Verification), [proof(each) for each in read if each % 3])
            connection.execute(
                insert(Kinship), [kinship(each) for each in read if each + 1 in bodies]
            )


def tape(chance: Random, number: int) -> dict[str, object]:
    accession = f"{1970 + number % 50}.{number}"
    return {
        "id": number,
        "accession_number": accession,
        "accession_key": accession_key(accession),
        "title": f"Tide table {number}",
        "program_id": number // 10 + 1,
        "medium": chance.choice(MEDIA),
        "condition": chance.choice(CONDITIONS),
        "place": f"Shelf {chance.randrange(40)}",
        "loader_requirement": "language interpreter",
        "created_at": NOW,
        "updated_at": NOW,
    }


def proof(number: int) -> dict[str, object]:
    return {"image_id": number, "kind": "proof-read", "evidence": "Read.", "made_at": NOW}


def kinship(number: int) -> dict[str, object]:
    pair = {"image_a_id": number, "image_b_id": number + 1, "kind": "near", "similarity": 0.9}
    return pair | {"distance": 1, "added": 1, "removed": 0, "changed": 0}


class Worker(NamedTuple):
    """A server: its port and its process."""

    port: int
    process: int

    def processor_seconds(self) -> float:
        """What it has had of the processor so far, in all of its threads."""
        fields = Path(f"/proc/{self.process}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def served(application: str, extra: dict[str, str], database: str) -> Iterator[Worker]:
    """One worker that serves an application."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        port = listener.getsockname()[1]
    environment = (
        os.environ
        | extra
        | {
            "FEEDHOLE_DATABASE_URL": database,
            "FEEDHOLE_SECURE_COOKIES": "false",
        }
    )
    process = subprocess.Popen(
        [sys.executable, "-m", "uvicorn", "--factory", application, "--port", str(port),
         "--log-level", "error", "--no-access-log"],
        env=environment,
    )  # fmt: skip
    try:
        wait_for(port)
        yield Worker(port, process.pid)
    finally:
        process.terminate()
        process.wait()


def wait_for(port: int) -> None:
    for _ in range(600):
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise TimeoutError("the server did not start")


async def load(port: int, seconds: float) -> list[float]:
    """The milliseconds of every answer that 32 clients got in so many seconds."""
    stop = time.perf_counter() + seconds
    times: list[float] = []

    async def client(number: int) -> None:
        chance = Random(number)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        while (begun := time.perf_counter()) < stop:
            page = chance.randrange(1, PAGES + 1)
            writer.write(f"GET /tapes?page={page} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
            head = await reader.readuntil(b"\r\n\r\n")
            assert head.startswith(b"HTTP/1.1 200"), head
            length = head.lower().split(b"content-length: ")[1].split(b"\r\n")[0]
            body = await reader.readexactly(int(length))
            assert b"</html>" in body
            times.append(1000 * (time.perf_counter() - begun))
        writer.close()

    await asyncio.gather(*(client(number) for number in range(CLIENTS)))
    return times


class Round(NamedTuple):
    """What one server did in one round."""

    rate: float
    slow: float
    processor: float
    """Milliseconds of the processor for a page: the same on a busy machine."""


def measured(worker: Worker, seconds: float) -> Round:
    before = worker.processor_seconds()
    times = asyncio.run(load(worker.port, seconds))
    taken = worker.processor_seconds() - before
    slow = statistics.quantiles(times, n=20)[-1]
    return Round(len(times) / seconds, slow, 1000 * taken / len(times))


def main(tapes: int, seconds: float) -> int:
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        database = f"sqlite:///{Path(folder) / 'bench.db'}"
        engine = make_engine(Settings(database_url=database))
        migrate(engine)
        fill(engine, tapes)
        engine.dispose()
        workers = {
            name: stack.enter_context(served(application, extra, database))
            for name, (application, extra) in SERVERS.items()
        }
        for worker in workers.values():
            measured(worker, 1)
        rounds = {name: list[Round]() for name in workers}
        for _ in range(ROUNDS):
            for name, worker in workers.items():
                rounds[name].append(measured(worker, seconds))
    print(f"{tapes:,} tapes, {CLIENTS} clients, {ROUNDS} rounds of {seconds:g} s each")
    for name, several in rounds.items():
        rate, slow, processor = map(statistics.median, zip(*several, strict=True))
        print(
            f"{name:14} {rate:7.0f} pages/s, p95 {slow:6.1f} ms,"
            f" {processor:5.2f} ms of the processor a page"
        )
    pairs = list(zip(rounds["the page"], rounds["raw sqlite3"], strict=True))
    ratio = statistics.median(ours.rate / raw.rate for ours, raw in pairs)
    share = statistics.median(raw.processor / ours.processor for ours, raw in pairs)
    print(f"beside raw sqlite3: {ratio:.2f} of its pages (at least {LEAST}),")
    print(f"    and by the processor alone {share:.2f}")
    return int(ratio < LEAST)


if __name__ == "__main__":
    given = sys.argv[1:]
    sys.exit(main(int(given[0]) if given else TAPES, float(given[1]) if given[1:] else SECONDS))
