import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import make_url

from server.jobs.alive import FileLocks, Locks, ServerLocks
from server.settings import Settings


@pytest.fixture(params=["sqlite", "postgres"])
def several(request: pytest.FixtureRequest, tmp_path: Path):
    """Two workers of one library."""
    if request.param == "sqlite":
        yield FileLocks(tmp_path / "new"), FileLocks(tmp_path / "new")
    else:
        url = request.getfixturevalue("postgres_settings").database_url
        yield ServerLocks(url), ServerLocks(url)


def is_free(locks: Locks, name: str) -> bool:
    with locks.free(name) as free:
        return free


def test_a_lock_is_free_until_it_is_held_and_again_when_released(several: tuple[Locks, Locks]):
    one, other = several
    assert is_free(other, "one")
    one.hold("one")
    one.hold("one too")
    assert not is_free(other, "one")
    assert not is_free(other, "one too")
    assert is_free(other, "two")
    one.release()
    assert is_free(other, "one")
    other.release()


def test_nobody_else_takes_it_while_one_looks(several: tuple[Locks, Locks]):
    one, other = several
    with one.free("dead") as mine, other.free("dead") as theirs:
        assert (mine, theirs) == (True, False)
    for each in several:
        each.release()


HOLD_AND_DIE = """
import sys
from server.settings import Settings
from server.jobs.background import _locks
locks = _locks(Settings(database_url=sys.argv[1]))
locks.hold("worker")
print("held", flush=True)
sys.stdin.read()
"""


def test_a_worker_that_is_killed_holds_nothing_any_more(settings: Settings):
    child = subprocess.Popen(
        [sys.executable, "-c", HOLD_AND_DIE, settings.database_url],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with child:
        assert child.stdout is not None
        assert child.stdout.readline() == "held\n"
        url = make_url(settings.database_url)
        locks: Locks = (
            FileLocks(Path(url.database or "").parent)
            if url.get_backend_name() == "sqlite"
            else ServerLocks(settings.database_url)
        )
        assert not is_free(locks, "worker")
        child.kill()
    for _ in range(100):
        if is_free(locks, "worker"):
            break
    assert is_free(locks, "worker")
    locks.release()
