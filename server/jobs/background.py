"""Background work on the durable engine: set up here, for SQLite and PostgreSQL alike.

The engine is dbos: each step that is done is written down in a database, and work that a crash
interrupted goes on after the last of them. Beside an SQLite library that database is a file of
its own (losing it loses no more than how far some work had come); on PostgreSQL it is a schema
of the library's database, and any worker may take up any work. Nothing is sent anywhere.

The engine allows one of itself in a process; so there is one `Background` at a time.
"""

import logging
import threading
import uuid
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from dbos import DBOS, DBOSConfig, DBOSPortableJSONSerializer
from dbos import error as dbos_error
from sqlalchemy import make_url

from server.jobs.alive import FileLocks, Locks, ServerLocks
from server.jobs.kin_pass import Progress
from server.jobs.state import PassState, Standing
from server.jobs.workflows import NAME, PROGRESS, RELEASE, Library, find_kin_in_everything
from server.settings import Settings
from server.store.engine import make_engine

QUEUE: Final = "library"
"""Work on the whole library: one at a time, wherever it runs."""

SCHEMA: Final = "feedhole_work"

LOOK_ROUND_SECONDS: Final = 15.0
"""How often a worker looks whether another one died over its work."""

_UNFINISHED: Final = ["ENQUEUED", "PENDING", "DELAYED"]

_STANDING: Final[Mapping[str, Standing]] = {
    "ENQUEUED": Standing.WAITING,
    "DELAYED": Standing.WAITING,
    "PENDING": Standing.RUNNING,
    "SUCCESS": Standing.DONE,
    "CANCELLED": Standing.STOPPED,
}


def work_database(settings: Settings) -> str:
    """Where the engine writes down what is done."""
    url = make_url(settings.database_url)
    if url.get_backend_name() != "sqlite":
        return settings.database_url
    path = Path(url.database or "")
    return f"sqlite:///{path.with_name(f'{path.stem}-work{path.suffix}')}"


def _locks(settings: Settings) -> Locks:
    url = make_url(work_database(settings))
    if url.get_backend_name() == "sqlite":
        return FileLocks(Path(url.database or "").resolve().parent)
    return ServerLocks(settings.database_url)


def _log_as_the_application_does() -> None:
    """Hand what the engine says to whatever the application logs to.

    The engine would write to the stream that stood for standard error when it was first started,
    which need not be open any more.
    """
    log = logging.getLogger("dbos")
    for handler in tuple(log.handlers):
        log.removeHandler(handler)
    log.addHandler(logging.NullHandler())
    log.propagate = True


class Background:
    """The background work of this process, from `start` to `stop`; a context manager."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._locks = _locks(settings)
        self._worker = f"feedhole-worker-{uuid.uuid4().hex}"
        self._engine = make_engine(settings)
        self._stopped = threading.Event()
        self._watch = threading.Thread(target=self._look_round, name="who-is-alive", daemon=True)

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.stop()

    def start(self) -> None:
        """Begin to take up work, this process's own and that of workers that died."""
        self._locks.hold(self._worker)
        _log_as_the_application_does()
        DBOS(
            config=DBOSConfig(
                name="feedhole",
                system_database_url=work_database(self._settings),
                dbos_system_schema=SCHEMA,
                executor_id=self._worker,
                application_version=RELEASE,
                serializer=DBOSPortableJSONSerializer(),
                max_executor_threads=4,
                sys_db_pool_size=4,
                log_level="WARNING",
                enable_otlp=False,
            )
        )
        Library.engine = self._engine
        DBOS.launch()
        DBOS.register_queue(QUEUE, global_concurrency=1, polling_interval_sec=0.5)
        self._watch.start()

    def stop(self) -> None:
        """End in good order; work that is not done goes on elsewhere, or when one starts again."""
        self._stopped.set()
        self._watch.join(timeout=LOOK_ROUND_SECONDS)
        DBOS.destroy()
        Library.engine = None
        self._locks.release()
        self._engine.dispose()

    def find_kin(self, by: str) -> PassState:
        """Start the pass over everything, or join the one that is not done yet."""
        unfinished = _passes(status=_UNFINISHED)
        if not unfinished:
            DBOS.enqueue_workflow(QUEUE, find_kin_in_everything, by)
        state = self.last_pass()
        assert state is not None
        return state

    def stop_pass(self) -> PassState | None:
        """Stop the pass after the step that it is in."""
        for each in _passes(status=_UNFINISHED):
            DBOS.cancel_workflow(each.workflow_id)
        return self.last_pass()

    def last_pass(self) -> PassState | None:
        """How the newest pass stands; None where there never was one."""
        found = _passes(limit=1)
        return _state(found[0]) if found else None

    def take_over(self) -> int:
        """Let go on what workers that died had begun; how much that was."""
        taken = 0
        for worker in {each.executor_id for each in _running()} - {self._worker, None}:
            with self._locks.free(worker) as is_free:
                # Looked up again: another worker may have been quicker than our lock.
                theirs = [each for each in _running() if each.executor_id == worker]
                for each in theirs if is_free else ():
                    DBOS.resume_workflow(each.workflow_id, queue_name=QUEUE)
                    taken += 1
        return taken

    def _look_round(self) -> None:
        while True:
            try:
                self.take_over()
            except dbos_error.DBOSException:
                return  # the engine was shut down under us
            if self._stopped.wait(LOOK_ROUND_SECONDS):
                return


def _passes(**asked: Any) -> list[Any]:
    return DBOS.list_workflows(name=NAME, sort_desc=True, **asked)


def _running() -> list[Any]:
    return _passes(status=["PENDING"])


def _state(found: Any) -> PassState:
    standing = _STANDING.get(found.status, Standing.FAILED)
    told = DBOS.get_event(found.workflow_id, PROGRESS, timeout_seconds=0)
    ended = found.completed_at or (found.updated_at if standing.is_over else None)
    return PassState(
        standing=standing,
        by=str(found.input["args"][0]) if found.input else "",
        started=_moment(found.created_at),
        ended=None if ended is None else _moment(ended),
        progress=Progress(**told) if told else Progress(0, 0, 0),
        result=found.output if standing is Standing.DONE else None,
        fault=str(found.error) if standing is Standing.FAILED and found.error else "",
    )


def _moment(milliseconds: int) -> datetime:
    return datetime.fromtimestamp(milliseconds / 1000, UTC)
