"""A copy of a library as it is now, to be named as its replica."""

import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import make_url

from server.settings import Settings


def replica_url(request: pytest.FixtureRequest, settings: Settings) -> str:
    """The address of a copy of the library that the settings name."""
    url = make_url(settings.database_url)
    if url.get_backend_name() == "sqlite":
        path = Path(url.database or "").with_name("replica.db")
        source, copy = sqlite3.connect(url.database or ""), sqlite3.connect(path)
        source.backup(copy)
        source.close()
        copy.close()
        return f"sqlite:///{path}"
    run = request.getfixturevalue("on_postgres")
    name = f"{url.database}_replica"
    # A database is copied by the server only while nobody is connected to it.
    run(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
        f"WHERE datname = '{url.database}' AND pid <> pg_backend_pid()"
    )
    run(f"CREATE DATABASE {name} TEMPLATE {url.database}")
    request.addfinalizer(lambda: run(f"DROP DATABASE {name} WITH (FORCE)"))
    return url.set(database=name).render_as_string(hide_password=False)
