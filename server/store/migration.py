"""Bringing a database to the form that this release expects, and back.

Several workers may start at once: each waits for the others, and finds nothing left to do.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine

from server.checkout import MIGRATIONS
from server.store.engine import reading

_ADVISORY_LOCK = 7_230_511
"""The number that stands for 'migrating' among the server's advisory locks."""


def configuration(connection: Connection | None = None) -> Config:
    """Alembic's own configuration, for work on `connection`."""
    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    return config


def migrate(engine: Engine) -> None:
    """Bring the database up to this release, in one transaction; nothing where it is there."""
    if current(engine) == head():
        return
    with migrating(engine) as connection:
        command.upgrade(configuration(connection), "head")


def downgrade(engine: Engine, revision: str = "base") -> None:
    """Bring the database back to an older revision; `base` is an empty database."""
    with migrating(engine) as connection:
        command.downgrade(configuration(connection), revision)


def head() -> str | None:
    """The revision that this release expects."""
    return ScriptDirectory.from_config(configuration()).get_current_head()


def current(engine: Engine) -> str | None:
    """The revision that the database has; None where it is empty."""
    with reading(engine).connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


@contextmanager
def migrating(engine: Engine) -> Iterator[Connection]:
    """A connection in one transaction, while no other worker migrates."""
    if engine.dialect.name == "sqlite":
        with _migrating_sqlite(engine) as connection:
            yield connection
    else:
        with engine.begin() as connection:
            connection.exec_driver_sql("SET LOCAL statement_timeout = 0")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ADVISORY_LOCK})")
            yield connection


@contextmanager
def _migrating_sqlite(engine: Engine) -> Iterator[Connection]:
    """As `migrating`. The write lock makes the others wait.

    SQLite alters a table by writing it anew, which foreign keys would forbid; they are checked
    as a whole before the transaction ends instead.
    """
    with engine.connect() as connection:
        driver = connection.connection.driver_connection
        assert driver is not None
        driver.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                yield connection
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
                if broken:
                    raise RuntimeError(f"the migration broke references: {broken[:5]}")
        finally:
            driver.execute("PRAGMA foreign_keys = ON")


def include_name(name: str | None, kind: str, parents: object) -> bool:
    """Whether Alembic compares an object with the models: all but the full-text objects."""
    del parents
    return name is None or kind not in ("table", "index") or "_search" not in name
