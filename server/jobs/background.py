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
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from dbos import DBOS, DBOSConfig, DBOSPortableJSONSerializer, SetEnqueueOptions
from dbos import error as dbos_error
from sqlalchemy import make_url
from sqlalchemy.exc import SQLAlchemyError

from server.jobs import schedule
from server.jobs.alive import FileLocks, Locks, ServerLocks
from server.jobs.passes import Progress
from server.jobs.state import Pass, PassState, Standing
from server.jobs.workflows import NAMES, PROGRESS, RELEASE, WORKFLOWS, Library
from server.settings import Settings
from server.store.engine import make_engine
from server.store.replica import replica_engine

_LOG: Final = logging.getLogger(__name__)

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
    """The background work of this process, from `start` to `stop`; a context manager.

    One that `keeps_schedule` also begins what is to begin by itself: fixity audits.
    """

    def __init__(self, settings: Settings, *, keeps_schedule: bool = False) -> None:
        self._settings = settings
        self._keeps_schedule = keeps_schedule
        self._locks = _locks(settings)
        self._worker = f"feedhole-worker-{uuid.uuid4().hex}"
        self._engine = make_engine(settings)
        self._replica = replica_engine(settings)
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
        Library.engine, Library.replica = self._engine, self._replica
        DBOS.launch()
        DBOS.register_queue(QUEUE, global_concurrency=1, polling_interval_sec=0.5)
        self._watch.start()

    def stop(self) -> None:
        """End in good order; work that is not done goes on elsewhere, or when one starts again."""
        self._stopped.set()
        self._watch.join(timeout=LOOK_ROUND_SECONDS)
        DBOS.destroy()
        Library.engine = Library.replica = None
        self._locks.release()
        self._engine.dispose()
        if self._replica is not None:
            self._replica.dispose()

    def start_pass(self, kind: Pass, by: str) -> PassState:
        """Start a pass over everything, or join the one of its kind that is not done yet."""
        if not _passes(kind, status=_UNFINISHED, app_version=RELEASE):
            # Somebody else may be as quick: the engine takes one of its kind into the queue.
            only = SetEnqueueOptions(deduplication_id=f"{NAMES[kind]} {RELEASE}")
            with only, suppress(dbos_error.DBOSQueueDeduplicatedError):
                DBOS.enqueue_workflow(QUEUE, WORKFLOWS[kind], by)
        state = self.last_pass(kind)
        assert state is not None
        return state

    def stop_pass(self, kind: Pass) -> PassState | None:
        """Stop the pass of that kind after the step that it is in."""
        for each in _passes(kind, status=_UNFINISHED):
            DBOS.cancel_workflow(each.workflow_id)
        return self.last_pass(kind)

    def last_pass(self, kind: Pass) -> PassState | None:
        """How the newest pass of that kind stands; None where there never was one."""
        return _newest(kind)

    def start_due_audit(self) -> bool:
        """Start a fixity audit if one is due, and say whether it was."""
        newest = _newest(Pass.FIXITY, app_version=RELEASE)
        due = schedule.audit_is_due(self._engine, self._settings.audit_days, newest)
        if due:
            self.start_pass(Pass.FIXITY, schedule.BY)
        return due

    def take_over(self) -> int:
        """Let go on what workers that died had begun; how much that was."""
        taken = 0
        for worker in {each.executor_id for each in _running()} - {self._worker, None}:
            with self._locks.free(worker) as is_free:
                # Looked up again: another worker may have been quicker than our lock.
                theirs = [each for each in _running() if each.executor_id == worker]
                for each in theirs if is_free else ():
                    taken += _go_on(each)
        return taken

    def _look_round(self) -> None:
        while True:
            try:
                self.take_over()
                if self._keeps_schedule:
                    self.start_due_audit()
            except dbos_error.DBOSException:
                return  # the engine was shut down under us
            except SQLAlchemyError:
                _LOG.warning("the database was away; looking round again later", exc_info=True)
            if self._stopped.wait(LOOK_ROUND_SECONDS):
                return


def _passes(*kinds: Pass, **asked: Any) -> list[Any]:
    names = [NAMES[kind] for kind in kinds]
    return DBOS.list_workflows(name=names, sort_desc=True, **asked)


def _newest(kind: Pass, **asked: Any) -> PassState | None:
    found = _passes(kind, limit=1, **asked)
    return _state(found[0]) if found else None


def _running() -> list[Any]:
    return _passes(*Pass, status=["PENDING"])


def _go_on(found: Any) -> int:
    """Let a pass whose worker died go on; one of another release would only hold up the queue."""
    if found.app_version != RELEASE:
        DBOS.cancel_workflow(found.workflow_id)
        return 0
    DBOS.resume_workflow(found.workflow_id, queue_name=QUEUE)
    return 1


def _state(found: Any) -> PassState:
    standing = _STANDING.get(found.status, Standing.FAILED)
    told = DBOS.get_event(found.workflow_id, PROGRESS, timeout_seconds=0)
    ended = found.completed_at or (found.updated_at if standing.is_over else None)
    return PassState(
        standing=standing,
        by=str(found.input["args"][0]) if found.input else "",
        started=_moment(found.created_at),
        ended=None if ended is None else _moment(ended),
        progress=_progress(told),
        result=found.output if standing is Standing.DONE else None,
        fault=str(found.error) if standing is Standing.FAILED and found.error else "",
    )


def _progress(told: dict[str, int] | None) -> Progress:
    told = told or {}
    return Progress(told.get("done", 0), told.get("of", 0), told.get("found", 0))


def _moment(milliseconds: int) -> datetime:
    return datetime.fromtimestamp(milliseconds / 1000, UTC)
