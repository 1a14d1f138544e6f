"""Finding kin among 1,000 and among 20,000 tapes: how long it takes, and what it misses.

    python -m tests.bench.bench_kinship [queries [postgres]]

A library of generated programs, one in ten a changed copy of an older one, is asked for the kin
of changed copies of its oldest tapes, for which the index has the least to offer: it reads only
the newest holders of a common fingerprint. The same copies are asked at both sizes. At 20,000
some of the answers are held against brute force: rapidfuzz over every listing there is, at the
same cut-off. Both sizes are measured in one run; trust the ratio, not the milliseconds.

Exits with 1 where a ratio or a recall is beyond its bound.
"""

import hashlib
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import numpy as np
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist
from sqlalchemy import Engine, insert

from server.catalog import kinship
from server.catalog.work import COMMAND, unit_of_work
from server.settings import Settings
from server.store import fingerprints as index
from server.store.engine import make_engine
from server.store.images import Decoding, ImageRow
from server.store.kin import Fingerprint
from server.store.listings import pack_listing
from server.store.migration import migrate
from server.tape.fingerprints import fingerprints
from server.tape.kinship import NEAR_CUTOFF
from server.tape.language import line_number
from server.tape.listing import Line, Listing
from server.tape.normal_form import NormalForm, form_of
from tests.bench.programs import CHANGES, program, size
from tests.postgres_server import postgres_server

SIZES = (1_000, 20_000)
QUERIES = 240
JUDGED = 120
"""Queries whose answers are held against brute force."""

MOST_GROWTH = 5.0
"""How many times as long a query may take among twenty times as many tapes, at p95."""

LEAST_RECALL = 0.995

NOW = datetime(2026, 11, 25, tzinfo=UTC)
BATCH = 1_000

MEMORY = "shared_buffers=2GB"
"""What a server of a large library is given; the tests' own has to do with less."""

FILL_SECONDS = 600
"""As long may one batch take, on a machine that has much else to do."""


class Copy(NamedTuple):
    """A changed copy to ask about, and the tape that it is a copy of."""

    original: int
    change: str
    form: NormalForm


def listing(lines: list[str]) -> Listing:
    return Listing(tuple(Line(line, 0, len(line), line_number(line)) for line in lines))


def form(lines: list[str]) -> NormalForm:
    return form_of("text", "basic", listing(lines), "\n".join(lines).encode(), {})


def library(random: Random) -> Iterator[list[str]]:
    """Programs without end, one in ten a changed copy of one before."""
    originals: list[list[str]] = []
    while True:
        if originals and random.random() < 0.1:
            yield random.choice(CHANGES)(random, random.choice(originals))
        else:
            originals.append(program(random, size(random)))
            yield originals[-1]


def copies(random: Random, oldest: list[list[str]], count: int) -> list[Copy]:
    """Changed copies of the oldest tapes, every kind of change in turn."""
    chosen = [random.randrange(len(oldest)) for _ in range(count)]
    changes = [CHANGES[at % len(CHANGES)] for at in range(count)]
    return [
        Copy(at + 1, change.__name__, form(change(random, oldest[at])))
        for at, change in zip(chosen, changes, strict=True)
    ]


def fill(engine: Engine, programs: list[list[str]], first: int) -> list[str]:
    """Put programs into the library, ids from `first` on; gives their normal texts."""
    texts = []
    for start in range(0, len(programs), BATCH):
        batch = programs[start : start + BATCH]
        forms = [form(lines) for lines in batch]
        texts += [each.text for each in forms]
        rows = [
            rows_of(first + start + at, lines, each)
            for at, (lines, each) in enumerate(zip(batch, forms, strict=True))
        ]
        with engine.begin() as connection:
            connection.execute(insert(ImageRow), [image for image, _, _ in rows])
            connection.execute(insert(Decoding), [decoding for _, decoding, _ in rows])
            connection.execute(
                insert(Fingerprint), [mark for _, _, marks in rows for mark in marks]
            )
    return texts


Fields = dict[str, Any]


def rows_of(
    image_id: int, lines: list[str], held: NormalForm
) -> tuple[Fields, Fields, list[Fields]]:
    frames = f"{image_id}\n".encode() + held.content
    image = {
        "id": image_id,
        "sha256": hashlib.sha256(frames).hexdigest(),
        "size": len(frames),
        "levels": 8,
        "created_at": NOW,
        "frames": frames,
    }
    decoding = {
        "image_id": image_id,
        "decoder_release": "1",
        "decoded_at": NOW,
        "format": "text",
        "language": "basic",
        "orientation": "as-read",
        "leader_frames": 0,
        "trailer_frames": 0,
        "data_start": 0,
        "data_stop": len(frames),
        "check_status": "no-check",
        "content_sha256": hashlib.sha256(held.content).hexdigest(),
        "loader": "language interpreter",
        "line_count": len(lines),
        "listing": pack_listing(listing(lines)),
        "content": held.content,
    }
    marks = [{"hash": value, "image_id": image_id} for value in fingerprints(held).tolist()]
    return image, decoding, marks


class Asked(NamedTuple):
    """What one library answered: milliseconds of each query and of its first half, and kin."""

    whole: list[float]
    candidates: list[float]
    kin: list[dict[int, float]]


def timed(work: Callable[..., Any], *given: Any) -> tuple[float, Any]:
    start = time.perf_counter()
    result = work(*given)
    return (time.perf_counter() - start) * 1000, result


def ask(engine: Engine, asked: list[Copy]) -> Asked:
    result = Asked([], [], [])
    with unit_of_work(engine, COMMAND, writes=False) as work:
        for copy in asked:
            marks = fingerprints(copy.form)
            half, _ = timed(index.candidates, work.session, marks)
            whole, found = timed(kinship.find, work, copy.form, marks)
            result.candidates.append(half)
            result.whole.append(whole)
            result.kin.append({each.image_id: each.kinship.similarity for each in found})
    return result


def by_brute_force(text: str, texts: list[str], cutoff: float) -> set[int]:
    """The ids of the nearest tapes by exact distance to every one, as many as are kept."""
    scores = cdist(
        [text], texts, scorer=Levenshtein.normalized_similarity, score_cutoff=cutoff, workers=1
    )[0]
    near = np.flatnonzero(scores >= cutoff)
    nearest = near[np.argsort(-scores[near], kind="stable")][: kinship.KEPT]
    return {int(at) + 1 for at in nearest}


def quantiles(times: list[float]) -> str:
    return f"p50 {statistics.median(times):6.2f} ms, p95 {p95(times):6.2f} ms"


def p95(times: list[float]) -> float:
    return float(np.quantile(times, 0.95))


def planted(asked: list[Copy], answers: Asked) -> float:
    """The share of the copies whose original was found; some have changed beyond the cut-off."""
    return statistics.mean(
        copy.original in kin for copy, kin in zip(asked, answers.kin, strict=True)
    )


def judged(asked: list[Copy], answers: Asked, texts: list[str]) -> tuple[int, int]:
    """How many of the kin that brute force tells were found, and how many there are."""
    found = truth = 0
    for copy, kin in islice(zip(asked, answers.kin, strict=True), JUDGED):
        told = by_brute_force(copy.form.text, texts, NEAR_CUTOFF)
        found += len(told & kin.keys())
        truth += len(told)
    return found, truth


def missed(asked: list[Copy], answers: Asked) -> str:
    """How many originals were missed, by the change that was made."""
    lost = [
        copy.change
        for copy, kin in zip(asked, answers.kin, strict=True)
        if copy.original not in kin
    ]
    return ", ".join(f"{lost.count(name)} {name}" for name in sorted(set(lost))) or "none"


def measure(engine: Engine, count: int) -> int:
    """Fill, ask, print; 1 where a bound is broken."""
    programs = library(Random(1))
    texts = fill(engine, oldest := list(islice(programs, SIZES[0])), 1)
    asked = copies(Random(2), oldest, count)
    ask(engine, asked[:20])  # so that nothing is measured cold
    small = ask(engine, asked)
    texts += fill(engine, list(islice(programs, SIZES[1] - SIZES[0])), SIZES[0] + 1)
    large = ask(engine, asked)
    for tapes, answers in zip(SIZES, (small, large), strict=True):
        print(f"{tapes:,} tapes: {quantiles(answers.whole)} a query")
        print(f"    candidates alone: {quantiles(answers.candidates)}")
        print(
            f"    originals found: {planted(asked, answers):.1%}; missed: {missed(asked, answers)}"
        )
    middle, ratio = (
        quantile(large.whole) / quantile(small.whole) for quantile in (statistics.median, p95)
    )
    print(f"20,000 beside 1,000: p50 x {middle:.2f}, p95 x {ratio:.2f} (at most {MOST_GROWTH})")
    brute, (found, truth) = timed(judged, asked, large, texts)
    recall = found / truth
    print(f"brute force over {len(texts):,}: {brute / min(JUDGED, count):.0f} ms a query")
    print(f"    it tells {truth} kin, {found} were found: {recall:.4f} (at least {LEAST_RECALL})")
    return int(ratio > MOST_GROWTH or recall < LEAST_RECALL)


@contextmanager
def empty_library(database: str) -> Iterator[Engine]:
    """A library of its own, thrown away afterwards."""
    with ExitStack() as stack:
        if database == "postgres":
            url = stack.enter_context(postgres_server(MEMORY)).render_as_string()
        else:
            folder = stack.enter_context(tempfile.TemporaryDirectory())
            url = f"sqlite:///{Path(folder) / 'bench.db'}"
        engine = make_engine(Settings(database_url=url, statement_limit_seconds=FILL_SECONDS))
        stack.callback(engine.dispose)
        migrate(engine)
        yield engine


def main(count: str = str(QUERIES), database: str = "sqlite") -> int:
    """Measure on SQLite, or on a PostgreSQL server started for the purpose."""
    with empty_library(database) as engine:
        return measure(engine, int(count))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
