"""kill -9 at any moment of a pass over the library: another process goes on and comes to the same.

The engine writes down each step that is done, so that no more than the one that was interrupted
is done again.
"""

import random
import signal
import subprocess
import sys
import time

from sqlalchemy import Engine, delete
from sqlalchemy.orm import Session

from server.jobs.background import Background
from server.jobs.state import Pass, PassState, Standing
from server.settings import Settings
from server.store.kin import Fingerprint, Kinship
from tests.jobs.test_kin_pass import fill, state

KILLS = 3
LONGEST_SECONDS = 60


def finder(url: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.faults.kin_finder", url],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def killed_beyond(url: str, looks: int) -> int:
    """How far a pass had said it was when it was killed, somewhat beyond so many looks."""
    done = 0
    with finder(url) as process:
        assert process.stdout is not None
        for line in process.stdout:
            assert line.strip().isdecimal(), "it came to its end before it could be killed"
            done = int(line)
            if done > looks:
                break
        time.sleep(random.Random(looks).uniform(0, 0.05))
        process.send_signal(signal.SIGKILL)
        _, complaints = process.communicate(timeout=30)
    assert process.returncode == -signal.SIGKILL, complaints
    return done


def to_its_end(settings: Settings) -> PassState:
    """How the pass stands once a worker, started as the application starts one, is through."""
    with Background(settings) as background:
        until = time.monotonic() + LONGEST_SECONDS
        while time.monotonic() < until:
            found = background.last_pass(Pass.KIN)
            assert found is not None
            if found.standing.is_over:
                return found
            time.sleep(0.05)
    raise AssertionError("nobody took the pass up")


def test_a_pass_killed_again_and_again_comes_to_what_an_undisturbed_one_comes_to(
    engine: Engine, settings: Settings
):
    fill(engine, families=8)
    undisturbed = state(engine)
    with Session(engine) as session, session.begin():
        session.execute(delete(Kinship))
        session.execute(delete(Fingerprint))

    reached, far = [], 0
    for _ in range(KILLS):
        far = killed_beyond(settings.database_url, far)
        reached.append(far)
    assert reached == sorted(set(reached)), "it began again from the beginning"
    assert state(engine) != undisturbed

    done = to_its_end(settings)

    assert (done.standing, done.by) == (Standing.DONE, "finder")
    assert done.result == {"images": 25, "pairs": len(undisturbed["kinship"])}
    assert (done.progress.done, done.progress.of) == (75, 75)
    assert state(engine) == undisturbed
