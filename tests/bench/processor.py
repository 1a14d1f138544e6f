"""The time that the processor works for a benchmark, which a busy machine does not lengthen."""

import resource
import time
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Engine, text

_SERVERS = "SELECT pid FROM pg_stat_activity WHERE backend_type = 'client backend'"


def processor_of(engine: Engine) -> Callable[[], float]:
    """Seconds of the processor so far: ours, of programs that we ran, and of the database's.

    Of PostgreSQL those processes count that serve us by now, so ask once the pool is warm.
    """
    servers: list[Path] = []
    if engine.dialect.name == "postgresql":
        with engine.connect() as connection:
            pids = connection.execute(text(_SERVERS)).scalars()
            servers = [Path(f"/proc/{pid}/schedstat") for pid in pids]

    def seconds() -> float:
        children = resource.getrusage(resource.RUSAGE_CHILDREN)
        theirs = sum(map(_worked, servers)) / 1e9
        return time.process_time() + children.ru_utime + children.ru_stime + theirs

    return seconds


def _worked(server: Path) -> int:
    """Nanoseconds that a process has worked; 0 if it has gone, which no other one is blamed for."""
    try:
        return int(server.read_text().split()[0])
    except FileNotFoundError:
        return 0
