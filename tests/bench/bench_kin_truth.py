"""Finding kin among 1,000 to 100,000 tapes, held against brute force and beside a peer.

    python -m tests.bench.bench_kin_truth [--postgres] [SIZE ...]

The library of `kin_corpus` grows from one size to the next (1,000, 20,000 and 100,000 unless
others are given); the same changed copies of its oldest tapes are asked for at each. Of some of
them every tape held is compared with the exact comparison, left out only where a bound proves
that it cannot be kin: that is the truth for recall and precision. The peer, datasketch's MinHash
LSH with 128 permutations in 32 bands, holds the same runs of characters in memory; its candidates
are fetched from the same database and compared in the same way. Both are timed up to their
candidates, and with the comparison, which takes whoever finds more kin longer; so that is
judged by the kin found. Times are of the processor, ours and the database's, in one run: trust
their ratios.

Exits with 1 where a goal is missed.
"""

import gc
import statistics
import sys
import time
import zlib
from argparse import ArgumentParser
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice
from random import Random
from typing import Final

import numpy as np
from datasketch import MinHash, MinHashLSH
from sqlalchemy import Engine, insert, text

from server.catalog import accession, forms, kinship
from server.catalog.accession import Upload
from server.catalog.work import COMMAND, unit_of_work
from server.store import fingerprints as index
from server.store.forms import NormalFormRow, row_of
from server.store.images import Decoding, ImageRow
from server.store.kin import Fingerprint
from server.store.listings import pack_listing
from server.tape.fingerprints import fingerprints
from server.tape.kinship import Kind, compare
from server.tape.listing import Listing
from server.tape.normal_form import NormalForm
from tests.bench.bench_kinship import empty_library, rows_of
from tests.bench.kin_brute_force import Held, truth
from tests.bench.kin_corpus import Content, Query, form, library, original, punched, queries
from tests.bench.processor import processor_of

SIZES = (1_000, 20_000, 100_000)
OLDEST = 1_000
QUERIES = 340
JUDGED = {1_000: 340, 20_000: 102, 100_000: 102}
"""Queries whose answers are held against brute force at each size; each change equally often."""
INSERTED = 100
BATCH = 1_000

RECALL = PRECISION = 0.995
GROWTH = 5.0

PERMUTATIONS, BANDS = 128, 32
RUN: Final = {True: 12, False: 8}


class Peer:
    """datasketch, over the same runs of characters or bytes."""

    def __init__(self) -> None:
        rows = PERMUTATIONS // BANDS
        self._lsh = MinHashLSH(num_perm=PERMUTATIONS, params=(BANDS, rows))

    @staticmethod
    def sketch(held: NormalForm) -> MinHash:
        data = "\n".join(held.bodies).encode() if held.textual else held.binary
        run = RUN[held.textual]
        made = MinHash(num_perm=PERMUTATIONS, hashfunc=zlib.crc32)
        made.update_batch({data[at : at + run] for at in range(max(1, len(data) - run + 1))})
        return made

    def add(self, image_id: int, held: NormalForm) -> None:
        self._lsh.insert(image_id, self.sketch(held), check_duplication=False)

    def candidates(self, query: NormalForm) -> list[int]:
        found: list[int] = self._lsh.query(self.sketch(query))
        return found


def fill(engine: Engine, held: Held, peer: Peer, contents: Iterator[Content], count: int) -> None:
    while len(held) < count:
        batch = [form(each) for each in islice(contents, min(BATCH, count - len(held)))]
        images, decodings, marks, kept = [], [], [], []
        for image_id, each in enumerate(batch, len(held) + 1):
            image, decoding, _ = rows_of(image_id, [], each)
            decoding |= {"format": each.format, "listing": pack_listing(Listing())}
            decoding["language"] = "basic" if each.textual else None
            images.append(image)
            decodings.append(decoding)
            marks += [
                {"hash": value, "image_id": image_id} for value in fingerprints(each).tolist()
            ]
            kept.append(row_of(image_id, each))
            held.add(each)
            peer.add(image_id, each)
        with engine.begin() as connection:
            for table, rows in (
                (ImageRow, images),
                (Decoding, decodings),
                (Fingerprint, marks),
                (NormalFormRow, kept),
            ):
                connection.execute(insert(table), rows)


@dataclass
class Asked:
    """Milliseconds and answers, of us and of the peer, of the same queries in turn."""

    ours: list[float] = field(default_factory=list)
    likely: list[float] = field(default_factory=list)
    theirs: list[float] = field(default_factory=list)
    their_likely: list[float] = field(default_factory=list)
    found: list[set[int]] = field(default_factory=list)
    their_found: list[set[int]] = field(default_factory=list)
    compared: list[int] = field(default_factory=list)
    their_compared: list[int] = field(default_factory=list)


def ask(engine: Engine, peer: Peer, asked: list[Query]) -> Asked:
    result, now = Asked(), processor_of(engine)
    with unit_of_work(engine, COMMAND, writes=False) as work:
        for query in asked:
            start = now()
            marks = fingerprints(query.form)
            likely = index.candidates(work.session, marks)
            half = now()
            found = kinship.find(work, query.form, fingerprints(query.form))
            end = now()
            result.likely.append((half - start) * 1000)
            result.ours.append((end - half) * 1000)
            result.compared.append(len(likely))
            result.found.append({each.image_id for each in found})

            start = now()
            candidates = peer.candidates(query.form)
            half = now()
            theirs = {
                image_id
                for image_id, other in forms.of(work, set(candidates)).items()
                if compare(other, query.form).kind is not Kind.UNRELATED
            }
            end = now()
            result.their_likely.append((half - start) * 1000)
            result.theirs.append((end - start) * 1000)
            result.their_compared.append(len(candidates))
            result.their_found.append(theirs)
    return result


@dataclass
class Judged:
    """How the answers compare with the truth."""

    queries: int
    told: int = 0
    found: int = 0
    wrong: int = 0
    theirs: int = 0
    near: int = 0
    near_found: int = 0
    near_theirs: int = 0
    seconds: float = 0
    missed: list[str] = field(default_factory=list)

    @property
    def recall(self) -> float:
        return self.found / self.told

    @property
    def precision(self) -> float:
        return self.found / (self.found + self.wrong)


def judged_of(size: int) -> int:
    return JUDGED[min(JUDGED, key=lambda each: abs(each - size))]


def judge(held: Held, asked: list[Query], answers: Asked, size: int) -> Judged:
    result = Judged(queries=judged_of(size))
    start = time.perf_counter()
    for query, ours, theirs in islice(
        zip(asked, answers.found, answers.their_found, strict=True), judged_of(size)
    ):
        told = truth(query.form, held)
        near = {each for each, kind in told.items() if kind not in (Kind.PART_OF, Kind.HOLDS)}
        result.told += len(told)
        result.found += len(told.keys() & ours)
        result.wrong += len(ours - told.keys())
        result.theirs += len(told.keys() & theirs)
        result.near += len(near)
        result.near_found += len(near & ours)
        result.near_theirs += len(near & theirs)
        result.missed += [f"{query.change} ({told[each]})" for each in told.keys() - ours]
    result.seconds = time.perf_counter() - start
    return result


def insert_more(engine: Engine, held: Held, peer: Peer, random: Random) -> list[float]:
    """Milliseconds to take in each of some new tapes, decoded before; they stay."""
    times: list[float] = []
    now = processor_of(engine)
    if engine.dialect.name == "postgresql":
        with engine.begin() as connection:
            connection.execute(text(f"SELECT setval('image_id_seq', {len(held)})"))
    while len(times) < INSERTED:
        _, tape = punched(random, original(random))
        examined = accession.examine(Upload(file_name="new.bin", data=tape), 10_000_000)
        start = now()
        with unit_of_work(engine, COMMAND, writes=False) as work:
            examined = accession.meet(work, examined)
        with unit_of_work(engine, COMMAND) as work:
            accession.accept(work, examined)
        times.append((now() - start) * 1000)
        held.add(examined.form)
        peer.add(len(held), examined.form)
    return times


def quantiles(times: list[float]) -> str:
    middle, mean, high = statistics.median(times), statistics.mean(times), np.quantile(times, 0.95)
    return f"p50 {middle:7.2f} ms, mean {mean:7.2f} ms, p95 {high:7.2f} ms"


def measure(engine: Engine, sizes: list[int]) -> int:
    held, peer, contents = Held(), Peer(), library(Random(1))
    oldest = list(islice(library(Random(1)), min(OLDEST, sizes[0])))
    asked = queries(Random(2), oldest, QUERIES)
    p95: list[float] = []
    inserts: list[float] = []
    missed_goals = []
    for size in sizes:
        start = time.perf_counter()
        fill(engine, held, peer, contents, size)
        print(f"{size:,} tapes (filled in {time.perf_counter() - start:.0f} s)", flush=True)
        gc.collect()
        gc.freeze()  # what only the bench holds is not to be looked through while it measures
        ask(engine, peer, asked[:17])  # so that nothing is measured cold
        answers = ask(engine, peer, asked)
        report_times(answers)
        judged = judge(held, asked, answers, size)
        report_truth(judged)
        times = insert_more(engine, held, peer, Random(size))
        print(f"    one more tape taken in: {quantiles(times)}", flush=True)
        p95.append(float(np.quantile(answers.ours, 0.95)))
        inserts.append(statistics.median(times))
        missed_goals += goals(judged, answers, size)
    print(f"p95 {sizes[-1]:,} beside {sizes[0]:,}: x {p95[-1] / p95[0]:.2f} (less than {GROWTH})")
    print(f"one more tape: x {inserts[-1] / inserts[0]:.2f} at the median")
    if p95[-1] >= GROWTH * p95[0]:
        missed_goals.append("p95 grows")
    print("goals missed:", ", ".join(missed_goals) or "none")
    return int(bool(missed_goals))


def report_times(answers: Asked) -> None:
    print(f"    a query, compared: ours  {quantiles(answers.ours)}")
    print(f"                       peer  {quantiles(answers.theirs)}")
    print(f"    candidates alone:  ours  {quantiles(answers.likely)}")
    print(f"                       peer  {quantiles(answers.their_likely)}")
    print(
        f"    compared for a query: ours {statistics.mean(answers.compared):.1f}, "
        f"peer {statistics.mean(answers.their_compared):.1f}"
    )
    found = sum(map(len, answers.found)) / sum(map(len, answers.their_found))
    print(
        f"    beside the peer at the mean: candidates x "
        f"{mean_ratio(answers.likely, answers.their_likely):.2f}, compared x "
        f"{mean_ratio(answers.ours, answers.theirs):.2f}, kin found x {found:.2f}",
        flush=True,
    )


def report_truth(judged: Judged) -> None:
    print(
        f"    brute force, {judged.queries} queries ({judged.seconds / judged.queries:.1f} s each),"
        f" tells {judged.told} kin, {judged.near} of them no parts"
    )
    print(
        f"    recall: ours {judged.recall:.4f}, peer {judged.theirs / judged.told:.4f}; without "
        f"parts: ours {judged.near_found / judged.near:.4f}, "
        f"peer {judged.near_theirs / judged.near:.4f}"
    )
    print(f"    precision: ours {judged.precision:.4f}")
    for each in sorted(set(judged.missed)):
        print(f"        missed {judged.missed.count(each)}: {each}")


def goals(judged: Judged, answers: Asked, size: int) -> list[str]:
    """Which goals are missed at this size."""
    kin, their_kin = (sum(map(len, each)) for each in (answers.found, answers.their_found))
    held = {
        "recall": judged.recall >= RECALL,
        "precision": judged.precision >= PRECISION,
        "recall beside the peer": judged.found > judged.theirs,
        "time for each kin": mean_ratio(answers.ours, answers.theirs) * their_kin <= kin,
    }
    return [f"{name} at {size:,}" for name, is_held in held.items() if not is_held]


def mean_ratio(ours: list[float], theirs: list[float]) -> float:
    return statistics.mean(ours) / statistics.mean(theirs)


def main(arguments: list[str]) -> int:
    """Measure on SQLite, or on a PostgreSQL server started for the purpose."""
    parser = ArgumentParser()
    parser.add_argument("--postgres", action="store_true")
    parser.add_argument("sizes", type=int, nargs="*", default=list(SIZES))
    given = parser.parse_args(arguments)
    with empty_library("postgres" if given.postgres else "sqlite") as engine:
        return measure(engine, given.sizes)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
