"""What was worked out from the database, kept for as long as nothing in it changes.

Each connection keeps its own, beside a stamp that changes with every transaction that anybody
commits, so that what is told is never older than the transaction that tells it.
"""

from collections.abc import Callable, Hashable
from typing import Any, Final, TypeVar

from sqlalchemy import Connection
from sqlalchemy.orm import Session

from server.store.engine import only_reads
from server.store.sight import levels_of

KEPT: Final = 64
"""Values that one connection keeps."""

_NAME: Final = "feedhole_remembered"

T = TypeVar("T")


def remembered(session: Session, key: Hashable, work_out: Callable[[], T]) -> T:
    """What `work_out` gives, or gave before to somebody who sees as much, if nothing has changed.

    In a transaction that writes it is always worked out, for what it writes may be undone.
    """
    if not only_reads(session):
        return work_out()
    connection = session.connection()
    stamp = _stamp(connection)
    held: tuple[Any, dict[Hashable, Any]] = connection.info.get(_NAME, (None, {}))
    if held[0] != stamp:
        held = connection.info[_NAME] = (stamp, {})
    values, seen = held[1], (levels_of(session), key)
    if seen not in values:
        if len(values) >= KEPT:
            values.clear()
        values[seen] = work_out()
    found: T = values[seen]
    return found


def _stamp(connection: Connection) -> Hashable:
    if connection.dialect.name != "sqlite":
        return str(connection.exec_driver_sql("SELECT pg_current_snapshot()").scalar_one())
    driver = connection.connection.driver_connection
    assert driver is not None
    # The version counts what other connections committed; the changes are this one's own.
    (version,) = driver.execute("PRAGMA data_version").fetchone()
    return version, driver.total_changes
