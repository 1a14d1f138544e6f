"""A pass over the library in a process of its own, which says how far it is until it is killed."""

import random
import signal
import subprocess
import sys
import time

from server.jobs.background import Background
from server.jobs.state import Pass


def say_how_far(background: Background, kind: Pass, by: str) -> None:
    """Begin or take up a pass, and print how many images are done, and at its end how it stands."""
    background.take_over()
    state = background.start_pass(kind, by)
    while not state.standing.is_over:
        print(state.progress.done, flush=True)
        time.sleep(0.02)
        state = background.last_pass(kind) or state
    print(state.standing, flush=True)


def killed_beyond(module: str, urls: list[str], images: int, longest: float) -> int:
    """How far a process had said it was when it was killed, beyond so many images.

    It is killed at some moment within `longest` seconds of saying so.
    """
    done = 0
    with subprocess.Popen(
        [sys.executable, "-m", module, *urls],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            assert line.strip().isdecimal(), "it came to its end before it could be killed"
            done = int(line)
            if done > images:
                break
        time.sleep(random.Random(images).uniform(0, longest))
        process.send_signal(signal.SIGKILL)
        _, complaints = process.communicate(timeout=30)
    assert process.returncode == -signal.SIGKILL, complaints
    return done
