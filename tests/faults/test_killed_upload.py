"""kill -9 at any moment of an upload leaves a whole library."""

import random
import signal
import subprocess
import sys
import time
from collections import Counter

from sqlalchemy import Engine

from server.settings import Settings
from tests.faults.dying import deaths
from tests.faults.uploader import programs, upload
from tests.faults.wholeness import faults, images

ROUNDS = 6
LONGEST_SECONDS = 0.4
MOST_STATEMENTS = 200


def start_uploader(url: str, seed: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.faults.uploader", url, str(seed)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def killed_at_some_moment(url: str, seed: int, seconds: float) -> list[str]:
    """What an uploader had said was kept, when it was killed."""
    with start_uploader(url, seed) as uploader:
        assert uploader.stdout is not None
        assert uploader.stderr is not None
        first = uploader.stdout.readline()
        time.sleep(seconds)
        uploader.send_signal(signal.SIGKILL)
        rest, complaints = uploader.communicate(timeout=30)
    assert uploader.returncode == -signal.SIGKILL, complaints
    return (first + rest).split()


def test_uploader_killed_again_and_again_leaves_a_whole_library(
    sqlite_engine: Engine, sqlite_settings: Settings
):
    rng = random.Random(20261125)
    acknowledged: Counter[str] = Counter()
    for seed in range(1, ROUNDS + 1):
        said = killed_at_some_moment(
            sqlite_settings.database_url, seed, rng.uniform(0, LONGEST_SECONDS)
        )
        acknowledged.update(said)
        kept = images(sqlite_engine)

        assert faults(sqlite_engine) == []
        # What was said to be kept is kept; one more may have been, too late to be said.
        assert kept >= acknowledged
        assert kept.total() - acknowledged.total() <= seed
    assert acknowledged.total() > ROUNDS


def test_upload_killed_at_any_statement_leaves_nothing_of_itself(
    engine: Engine, settings: Settings
):
    some = programs(7)
    for _ in range(4):
        upload(engine, next(some))
    before, victim, fatal = images(engine), next(some), 0

    for fatal in deaths(engine, settings, lambda own: upload(own, victim), MOST_STATEMENTS):
        assert images(engine) == before, f"killed at statement {fatal}"
        assert faults(engine) == [], f"killed at statement {fatal}"

    assert images(engine).total() == before.total() + 1
    assert faults(engine) == []
    assert fatal > 10
