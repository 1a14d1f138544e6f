"""A second library of the same schema, such as the newest backup: opened to read, never to write.

Only the frames of images are asked for, so one that a release before this wrote serves as well.
"""

import sqlite3
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import Engine, NullPool, create_engine, make_url, select
from sqlmodel import col

from server.settings import Settings
from server.store.images import ImageRow


def replica_engine(settings: Settings) -> Engine | None:
    """An engine for the replica that the settings name; None where they name none."""
    if not settings.replica:
        return None
    url = make_url(settings.replica)
    if url.get_backend_name() == "sqlite":
        path = Path(url.database or "").resolve()
        address = f"file:{quote(str(path))}?mode=ro"
        return create_engine(
            "sqlite://", creator=lambda: sqlite3.connect(address, uri=True), poolclass=NullPool
        )
    return create_engine(
        url,
        poolclass=NullPool,
        connect_args={
            "connect_timeout": max(2, round(settings.database_wait_seconds)),
            "options": "-c default_transaction_read_only=on",
        },
    )


def frames_in(replica: Engine, sha256: str) -> bytes | None:
    """The frames that the replica keeps under that name, right or wrong; None where it has none.

    Raises:
        DatabaseError: it cannot be read.
    """
    with replica.connect() as connection:
        return connection.scalar(select(col(ImageRow.frames)).where(col(ImageRow.sha256) == sha256))
