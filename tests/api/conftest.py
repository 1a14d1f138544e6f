"""The whole site with a database of its own, and clients that hold each answer against OpenAPI."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog import tokens as issued
from server.catalog.accounts import create_person
from server.catalog.work import COMMAND, Actor, Role, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine
from tests.api.schema import check

PASSWORD = "a long enough pass phrase"
V1 = "/api/v1"


class Client(TestClient):
    """A client whose every answer must be one that the API's description promises."""

    def request(self, *args: Any, **kwargs: Any) -> Any:
        response = super().request(*args, **kwargs)
        whole = self.app.state.describe_api()  # type: ignore[attr-defined]
        check(whole, response)
        return response


@dataclass(frozen=True)
class Club:
    """A database with one person of each role, and a token for each."""

    path: Path
    tokens: dict[Role, str]


@pytest.fixture(scope="session")
def club(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Club:
    path = tmp_path_factory.mktemp("club") / "club.db"
    shutil.copyfile(sqlite_template, path)
    engine = make_engine(Settings(database_url=f"sqlite:///{path}"))
    tokens = {}
    for role in (Role.VOLUNTEER, Role.ARCHIVIST, Role.ADMINISTRATOR):
        with unit_of_work(engine, COMMAND) as work:
            person = create_person(work, f"{role}-1", PASSWORD, role, role.capitalize())
            own = work.acting_as(Actor(person.id, person.display_name, role))
            tokens[role] = issued.issue(own, "tests")
    # The last connection to close writes all into the one file that is copied below.
    engine.dispose()
    return Club(path, tokens)


@pytest.fixture(scope="session")
def site(club: Club) -> Iterator[FastAPI]:
    app = create_app(Settings(database_url=f"sqlite:///{club.path}", secure_cookies=False))
    with TestClient(app):
        yield app


@pytest.fixture
def app(site: FastAPI, club: Club, tmp_path: Path) -> Iterator[FastAPI]:
    """The site, for one test with a copy of the club's database."""
    path = tmp_path / "club.db"
    shutil.copyfile(club.path, path)
    site.state.settings = Settings(
        database_url=f"sqlite:///{path}", secure_cookies=False, upload_limit_bytes=200_000
    )
    site.state.engine = make_engine(site.state.settings)
    yield site
    site.state.engine.dispose()


@pytest.fixture
def client_of(app: FastAPI, club: Club) -> Callable[[Role], Client]:
    def make(role: Role) -> Client:
        token = club.tokens.get(role)
        headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        return Client(app, headers=headers, raise_server_exceptions=False)

    return make


@pytest.fixture
def visitor(client_of: Callable[[Role], Client]) -> Client:
    return client_of(Role.VISITOR)


@pytest.fixture
def volunteer(client_of: Callable[[Role], Client]) -> Client:
    return client_of(Role.VOLUNTEER)


@pytest.fixture
def archivist(client_of: Callable[[Role], Client]) -> Client:
    return client_of(Role.ARCHIVIST)
