"""Which workers are alive: each holds a lock for as long as it lives, that nobody else can fake.

The engine keeps for each piece of work which worker took it up. Who dies can no longer say so;
but its lock is free, and whoever sees that may let the work go on elsewhere. On SQLite all
workers are on one machine, and the lock is one of the operating system on a file beside the
database; on PostgreSQL it is one of the server, which ends with the worker's connection.
"""

import fcntl
import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection, Engine, NullPool, create_engine, text


class Locks(Protocol):
    """Locks by name, held until released or until the process ends, however it ends."""

    def hold(self, name: str) -> None:
        """Take the lock of that name, which is free, and keep it."""
        ...

    @contextmanager
    def free(self, name: str) -> Iterator[bool]:
        """Whether nobody holds the lock of that name; nobody can take it meanwhile."""
        ...

    def release(self) -> None:
        """Let go of what is held."""
        ...


class FileLocks:
    """Locks of the operating system, on files of their own in `folder`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._held: dict[Path, int] = {}

    def _open(self, name: str) -> tuple[Path, int]:
        self._folder.mkdir(parents=True, exist_ok=True)
        path = self._folder / f"{name}.alive"
        return path, os.open(path, os.O_RDWR | os.O_CREAT, 0o600)

    def hold(self, name: str) -> None:
        """Take the lock of that name, which is free, and keep it."""
        path, descriptor = self._open(name)
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        self._held[path] = descriptor

    @contextmanager
    def free(self, name: str) -> Iterator[bool]:
        """Whether nobody holds the lock of that name; nobody can take it meanwhile."""
        path, descriptor = self._open(name)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
        else:
            yield True
            path.unlink(missing_ok=True)
        finally:
            os.close(descriptor)

    def release(self) -> None:
        """Let go of what is held."""
        for path, descriptor in self._held.items():
            path.unlink(missing_ok=True)
            os.close(descriptor)
        self._held.clear()


class ServerLocks:
    """Advisory locks of a PostgreSQL server, on one connection kept open for them."""

    def __init__(self, url: str) -> None:
        self._engine: Engine = create_engine(url, poolclass=NullPool)
        self._connection: Connection | None = None

    def hold(self, name: str) -> None:
        """Take the lock of that name, which is free, and keep it."""
        if self._connection is None:
            self._connection = self._engine.connect()
        self._connection.execute(text("SELECT pg_advisory_lock(:key)"), {"key": _key(name)})
        self._connection.commit()  # the lock belongs to the session, not to the transaction

    @contextmanager
    def free(self, name: str) -> Iterator[bool]:
        """Whether nobody holds the lock of that name; nobody can take it meanwhile."""
        with self._engine.connect() as connection:
            taken = text("SELECT pg_try_advisory_lock(:key)")
            yield bool(connection.scalar(taken, {"key": _key(name)}))

    def release(self) -> None:
        """Let go of what is held."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None
        self._engine.dispose()


def _key(name: str) -> int:
    """The number that a name has among the server's locks."""
    digest = hashlib.blake2b(name.encode(), digest_size=8).digest()
    return int.from_bytes(digest, "big", signed=True)
