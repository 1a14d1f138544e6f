"""A child process that does something with the database, and is killed at one of its statements."""

import os
import signal
from collections.abc import Callable

from sqlalchemy import Engine

from server.settings import Settings
from server.store.engine import make_engine
from tests.faults.test_killed_upload import die_at_statement


def child_dies(settings: Settings, fatal: int, act: Callable[[Engine], object]) -> bool:
    """Whether a child that acts died at that statement, and not after the last."""
    child = os.fork()
    if child == 0:
        try:
            engine = make_engine(settings)
            die_at_statement(engine, fatal)
            act(engine)
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
