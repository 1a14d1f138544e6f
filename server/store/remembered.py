"""What was worked out from the database, kept for as long as nothing in it changes.

Each connection keeps its own, beside a stamp that changes with every transaction that anybody
commits, so that what is told is never older than the transaction that tells it.
"""

import time
from collections.abc import Callable, Hashable
from typing import Any, Final, Generic, NamedTuple, TypeVar

from sqlalchemy import Connection
from sqlalchemy.orm import Session

from server.store.engine import only_reads

KEPT: Final = 64
"""Values that one connection keeps."""

_NAME: Final = "feedhole_remembered"
_SLOW_NAME: Final = "feedhole_slowly_worked_out"

SLOW_SECONDS: Final = 0.1
PATIENCE: Final = 100
"""What was slow is told again for this many times as long as it took: 20 s for 0.2 s."""

T = TypeVar("T")


class _Slow(NamedTuple, Generic[T]):
    """What took long to work out, and until when it is told again."""

    until: float
    value: T


def remembered(session: Session, key: Hashable, work_out: Callable[[], T]) -> T:
    """What `work_out` gives, or gave before, if nothing has changed since.

    In a transaction that writes it is always worked out, for what it writes may be undone.
    """
    if not only_reads(session):
        return work_out()
    connection = session.connection()
    stamp = _stamp(connection)
    held: tuple[Any, dict[Hashable, Any]] = connection.info.get(_NAME, (None, {}))
    if held[0] != stamp:
        held = connection.info[_NAME] = (stamp, {})
    values = held[1]
    if key not in values:
        if len(values) >= KEPT:
            values.clear()
        values[key] = work_out()
    found: T = values[key]
    return found


def nearly_current(session: Session, key: Hashable, work_out: Callable[[], T]) -> T:
    """As `remembered`; but what was slow to work out may be a little older than the transaction.

    For figures that only tell how much there is: in a library so large that they take long, one
    change more or less does not matter, and not every page after a change may wait for them.
    Slow is what took long twice in a row: the first time, much else may have been to blame.
    """
    if not only_reads(session):
        return work_out()
    kept: dict[Hashable, _Slow[T]] = session.connection().info.setdefault(_SLOW_NAME, {})
    before, began = kept.get(key), time.monotonic()
    if before is not None and began < before.until:
        return before.value
    found = remembered(session, key, work_out)
    took = time.monotonic() - began
    if took < SLOW_SECONDS:
        kept.pop(key, None)
        return found
    if len(kept) >= KEPT:
        kept.clear()
    kept[key] = _Slow(began + took * PATIENCE if before else began, found)
    return found


def _stamp(connection: Connection) -> Hashable:
    if connection.dialect.name != "sqlite":
        return str(connection.exec_driver_sql("SELECT pg_current_snapshot()").scalar_one())
    driver = connection.connection.driver_connection
    assert driver is not None
    # The version counts what other connections committed; the changes are this one's own.
    (version,) = driver.execute("PRAGMA data_version").fetchone()
    return version, driver.total_changes
