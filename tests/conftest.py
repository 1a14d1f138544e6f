"""Databases for every test that wants one: both kinds, each built by the migrations.

`settings` and `engine` run a test on both; `sqlite_settings` and `sqlite_engine` on one, for
what does not depend on the database. Each test has a database of its own.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from sqlalchemy import URL, Engine, create_engine

from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import migrate
from tests.postgres_server import NoPostgres, postgres_server

os.environ["FEEDHOLE_BACKGROUND_WORK"] = "no"
"""The engine of background work is one a process; a test that wants it says so in its settings."""

TEMPLATE = "feedhole_template"
NUMBERS = count()


def settings_for(url: str) -> Settings:
    return Settings(database_url=url, secure_cookies=False)


def migrated(url: str) -> None:
    engine = make_engine(settings_for(url))
    migrate(engine)
    engine.dispose()


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "feedhole.db"
    migrated(f"sqlite:///{path}")
    return path


@pytest.fixture
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same algorithm for passwords at its least cost, for tests that sign in often."""
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr("server.catalog.passwords._HASHER", quick)
    monkeypatch.setattr("server.catalog.passwords._nobodys", lambda: quick.hash("nobody"))


@pytest.fixture
def sqlite_settings(sqlite_template: Path, tmp_path: Path) -> Settings:
    path = tmp_path / "feedhole.db"
    shutil.copyfile(sqlite_template, path)
    return settings_for(f"sqlite:///{path}")


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[URL]:
    """The server; without one the tests fail, for half of what they promise is about it."""
    try:
        with postgres_server() as url:
            yield url
    except NoPostgres as reason:
        pytest.fail(str(reason))


@pytest.fixture(scope="session")
def on_postgres(postgres_url: URL) -> Iterator[Callable[[str], None]]:
    """What runs a statement that no transaction may hold, such as CREATE DATABASE."""
    engine = create_engine(postgres_url, isolation_level="AUTOCOMMIT")

    def run(statement: str) -> None:
        with engine.connect() as connection:
            connection.exec_driver_sql(statement)

    yield run
    engine.dispose()


@pytest.fixture(scope="session")
def postgres_template(postgres_url: URL, on_postgres: Callable[[str], None]) -> str:
    on_postgres(f"CREATE DATABASE {TEMPLATE}")
    migrated(postgres_url.set(database=TEMPLATE).render_as_string())
    return TEMPLATE


@pytest.fixture
def postgres_settings(
    postgres_url: URL, postgres_template: str, on_postgres: Callable[[str], None]
) -> Iterator[Settings]:
    name = f"feedhole_{next(NUMBERS)}"
    on_postgres(f"CREATE DATABASE {name} TEMPLATE {postgres_template}")
    yield settings_for(postgres_url.set(database=name).render_as_string())
    on_postgres(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def settings(request: pytest.FixtureRequest) -> Settings:
    found = request.getfixturevalue(f"{request.param}_settings")
    assert isinstance(found, Settings)
    return found


@pytest.fixture
def engine(settings: Settings) -> Iterator[Engine]:
    engine = make_engine(settings)
    yield engine
    engine.dispose()


@pytest.fixture
def sqlite_engine(sqlite_settings: Settings) -> Iterator[Engine]:
    engine = make_engine(sqlite_settings)
    yield engine
    engine.dispose()


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Callable[[], Any]:
    """What was written since it was last asked; never a traceback."""

    def read() -> Any:
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return told

    return read
