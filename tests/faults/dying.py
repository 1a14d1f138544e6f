"""A child process that does something with the database, and is killed at one of its statements."""

import os
import signal
from collections.abc import Callable, Iterator

import pytest
from sqlalchemy import Connection, Engine, event

from server.settings import Settings
from server.store.engine import make_engine


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


def deaths(
    engine: Engine, settings: Settings, act: Callable[[Engine], object], most: int
) -> Iterator[int]:
    """The statements at which a child that acts was killed, one after the other, until none was.

    It fails the test if the act has not come to its end after `most`.
    """
    for fatal in range(1, most):
        engine.dispose()  # a forked child must not share connections
        if not _child_dies(settings, fatal, act):
            return
        yield fatal
    pytest.fail("it never came to its end")


def _child_dies(settings: Settings, fatal: int, act: Callable[[Engine], object]) -> bool:
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
