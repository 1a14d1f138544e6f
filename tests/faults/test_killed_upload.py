"""kill -9 at any moment of an upload leaves a whole library."""

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter

import pytest
from sqlalchemy import Connection, Engine, event

from server.settings import Settings
from server.store.engine import make_engine
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


def die_at_statement(engine: Engine, fatal: int) -> None:
    """Kill this process before the `fatal`th statement, the commit counted as one."""
    executed = 0

    def count(*_: object) -> None:
        nonlocal executed
        executed += 1
        if executed == fatal:
            os.kill(os.getpid(), signal.SIGKILL)

    def count_commit(connection: Connection) -> None:
        count(connection)

    event.listen(engine, "before_cursor_execute", count)
    event.listen(engine, "commit", count_commit)


def upload_and_die(settings: Settings, program: str, fatal: int) -> bool:
    """Whether a child process that uploads died at that statement, and not after the last."""
    child = os.fork()
    if child == 0:
        try:
            engine = make_engine(settings)
            die_at_statement(engine, fatal)
            upload(engine, program)
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL


def test_upload_killed_at_any_statement_leaves_nothing_of_itself(
    engine: Engine, settings: Settings
):
    some = programs(7)
    for _ in range(4):
        upload(engine, next(some))
    before, victim = images(engine), next(some)
    engine.dispose()  # a forked child must not share connections

    for fatal in range(1, MOST_STATEMENTS):
        if not upload_and_die(settings, victim, fatal):
            break
        assert images(engine) == before, f"killed at statement {fatal}"
        assert faults(engine) == [], f"killed at statement {fatal}"
        engine.dispose()
    else:
        pytest.fail("the upload never came to its end")

    assert images(engine).total() == before.total() + 1
    assert faults(engine) == []
    assert fatal > 10
