"""Connections to the database, the same to those above whichever database it is."""

import hashlib
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.orm import Session

from server.settings import Settings
from server.store import search_sqlite, sight

_READS = "feedhole_reads"


def make_engine(settings: Settings) -> Engine:
    """An engine for the database that the settings name.

    A transaction takes SQLite's one write lock when it begins, so that two writers queue and
    neither fails half way; `reading(engine)` gives transactions that take no lock.
    """
    url = make_url(settings.database_url)
    is_sqlite = url.get_backend_name() == "sqlite"
    engine = _sqlite(url, settings) if is_sqlite else _postgresql(url, settings)
    sight.guard(engine)
    return engine


def reading(engine: Engine) -> Engine:
    """The same engine and pool, for transactions that only read."""
    return engine.execution_options(**{_READS: True})


def only_reads(session: Session) -> bool:
    """Whether the session's transactions take no lock, as those of `reading` do."""
    return bool(session.get_bind().get_execution_options().get(_READS, False))


def _sqlite(url: URL, settings: Settings) -> Engine:
    if url.database is not None and not url.database.startswith("file:"):
        Path(url.database).resolve().parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(url, **_pool(settings))
    wait_ms = round(settings.database_wait_seconds * 1000)

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, record: object) -> None:
        del record
        connection.isolation_level = None  # BEGIN is ours, below
        for pragma in (
            f"busy_timeout = {wait_ms}",
            "journal_mode = WAL",
            "synchronous = FULL",
            "foreign_keys = ON",
            # Without it, INSERT OR REPLACE would slip past the triggers that refuse deletion.
            "recursive_triggers = ON",
            "cache_size = -16384",
            # The trigger that guards images calls a function of ours, see below.
            "trusted_schema = ON",
            # An index is read in many small places, which need not be copied each time.
            f"mmap_size = {1 << 30}",
        ):
            connection.execute(f"PRAGMA {pragma}")
        # A trigger lets an image be mended by frames of the right digest, and by nothing else.
        connection.create_function("feedhole_sha256", 1, _digest, deterministic=True)
        search_sqlite.prepare(connection)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        reads = connection.get_execution_options().get(_READS, False)
        connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")

    return engine


def _digest(frames: object) -> str | None:
    """The SHA-256 of bytes in hexadecimal digits; None of anything else."""
    return hashlib.sha256(frames).hexdigest() if isinstance(frames, bytes) else None


def _postgresql(url: URL, settings: Settings) -> Engine:
    limits = {
        "statement_timeout": settings.statement_limit_seconds,
        "lock_timeout": settings.database_wait_seconds,
        "idle_in_transaction_session_timeout": settings.statement_limit_seconds,
    }
    options = [f"-c {name}={round(seconds * 1000)}" for name, seconds in limits.items()]
    return create_engine(
        url,
        pool_pre_ping=True,
        connect_args={
            "connect_timeout": max(2, round(settings.database_wait_seconds)),
            "options": " ".join([*options, "-c timezone=UTC"]),
        },
        **_pool(settings),
    )


def _pool(settings: Settings) -> dict[str, Any]:
    """A bounded pool: one connection for each request at once, and as many again at need."""
    return {
        "pool_size": settings.max_threads,
        "max_overflow": settings.max_threads,
        "pool_timeout": settings.database_wait_seconds,
    }
