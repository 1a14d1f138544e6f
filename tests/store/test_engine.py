import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select, text
from sqlalchemy.exc import IntegrityError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlalchemy.orm import Session

from server.settings import Settings
from server.store.engine import make_engine, reading
from server.store.tables import Fingerprint, Program
from tests.store.rows import NOW

WRITERS = 6
WRITES = 10


def test_reference_to_nothing_is_refused(engine: Engine):
    with pytest.raises(IntegrityError), Session(engine) as session, session.begin():
        session.add(Fingerprint(hash=1, image_id=404))


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("recursive_triggers", 1),
        ("busy_timeout", 10_000),
    ],
)
def test_every_sqlite_connection_is_made_safe(sqlite_engine: Engine, pragma: str, value: object):
    readers = reading(sqlite_engine)
    with readers.connect() as first, readers.connect() as second:
        for connection in (first, second):
            assert connection.exec_driver_sql(f"PRAGMA {pragma}").scalar() == value


def test_sqlite_folder_is_made_where_there_is_none(tmp_path: Path):
    engine = make_engine(Settings(database_url=f"sqlite:///{tmp_path}/var/lib/feedhole.db"))

    with engine.connect() as connection:
        assert connection.scalar(select(1)) == 1
    engine.dispose()


def test_writers_queue_and_none_fails(engine: Engine):
    """Each reads and then writes, which fails half way unless the lock is taken first."""

    def write(writer: int) -> None:
        for write in range(WRITES):
            with Session(engine) as session, session.begin():
                session.scalar(select(func.count()).select_from(Program))
                session.add(Program(title=f"{writer}.{write}", created_at=NOW, updated_at=NOW))

    with ThreadPoolExecutor(WRITERS) as pool:
        list(pool.map(write, range(WRITERS)))

    with Session(engine) as session:
        assert session.scalar(select(func.count()).select_from(Program)) == WRITERS * WRITES


def test_reader_does_not_wait_for_a_writer(engine: Engine):
    with Session(engine) as writer, writer.begin():
        writer.add(Program(title="half done", created_at=NOW, updated_at=NOW))
        writer.flush()

        start = time.perf_counter()
        with Session(reading(engine)) as reader:
            seen = reader.scalar(select(func.count()).select_from(Program))
        taken = time.perf_counter() - start

    assert seen == 0
    assert taken < 1


def test_writer_gives_up_when_the_lock_does_not_come(sqlite_settings: Settings):
    hasty = make_engine(sqlite_settings.model_copy(update={"database_wait_seconds": 0.1}))

    with Session(hasty) as first, first.begin():
        first.connection()
        with pytest.raises(OperationalError, match="locked"), Session(hasty) as second:
            second.connection()
    hasty.dispose()


def test_exhausted_pool_says_so_soon(settings: Settings):
    small = make_engine(
        settings.model_copy(update={"max_threads": 1, "database_wait_seconds": 0.1})
    )
    lent = [reading(small).connect() for _ in range(2)]

    with pytest.raises(PoolTimeoutError):
        small.connect()
    for connection in lent:
        connection.close()
    small.dispose()


@pytest.mark.postgres
def test_long_statement_is_cut_off_on_postgresql(postgres_settings: Settings):
    hasty = make_engine(postgres_settings.model_copy(update={"statement_limit_seconds": 0.1}))

    with pytest.raises(OperationalError, match="statement timeout"), hasty.connect() as connection:
        connection.execute(text("SELECT pg_sleep(5)"))
    hasty.dispose()


@pytest.mark.postgres
def test_lock_that_does_not_come_is_given_up_on_postgresql(postgres_settings: Settings):
    hasty = make_engine(postgres_settings.model_copy(update={"database_wait_seconds": 0.1}))
    taken, done = threading.Event(), threading.Event()

    def hold() -> None:
        with hasty.begin() as connection:
            connection.execute(text("LOCK TABLE program"))
            taken.set()
            done.wait(5)

    holder = threading.Thread(target=hold)
    holder.start()
    assert taken.wait(5)
    with pytest.raises(OperationalError, match="lock timeout"), hasty.begin() as connection:
        connection.execute(text("SELECT count(*) FROM program"))
    done.set()
    holder.join()
    hasty.dispose()
