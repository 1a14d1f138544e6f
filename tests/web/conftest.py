"""The site on a library of its own, and a browser's client for each role."""

import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog.work import Role
from server.delivery.cookies import Cookies
from server.settings import Settings
from tests.web.library import Library, build

LIMIT = 500_000


class Visitor(TestClient):
    """A browser without scripts: it follows no redirect by itself, and fills in forms."""

    def secret_of(self, path: str) -> str:
        """The secret in the forms of a page."""
        found = re.search(r'name="csrf" value="([0-9a-f]+)"', self.get(path).text)
        assert found, f"{path} has no form"
        return found[1]

    def fill_in(self, path: str, *, seen_at: str | None = None, **fields: Any) -> Any:
        """Fill in and send the form at `path`, or the one seen on the page `seen_at`."""
        files = fields.pop("files", None)
        headers = fields.pop("headers", None)
        data = {"csrf": self.secret_of(seen_at or path), **fields}
        return self.post(path, data=data, files=files, headers=headers)


@pytest.fixture(scope="session")
def library(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Library:
    path = tmp_path_factory.mktemp("library") / "library.db"
    shutil.copyfile(sqlite_template, path)
    return build(path)


@pytest.fixture
def app(library: Library, tmp_path: Path) -> FastAPI:
    return site_on(library, tmp_path)


def site_on(library: Library, folder: Path) -> FastAPI:
    """The site on a copy of the library in `folder`."""
    path = folder / "library.db"
    shutil.copyfile(library.path, path)
    return create_app(
        Settings(database_url=f"sqlite:///{path}", secure_cookies=False, upload_limit_bytes=LIMIT)
    )


@pytest.fixture
def client_of(app: FastAPI, library: Library) -> Iterator[Callable[[Role], Visitor]]:
    with clients(app, library) as made:
        yield made


@contextmanager
def clients(app: FastAPI, library: Library) -> Iterator[Callable[[Role], Visitor]]:
    """Makes a client for each role, while the site runs."""

    def make(role: Role) -> Visitor:
        client = Visitor(app, follow_redirects=False, raise_server_exceptions=False)
        if role is not Role.VISITOR:
            client.cookies.set(Cookies(secure=False).session, library.sessions[role][0])
        return client

    with TestClient(app):
        yield make


@pytest.fixture
def visitor(client_of: Callable[[Role], Visitor]) -> Visitor:
    return client_of(Role.VISITOR)


@pytest.fixture
def volunteer(client_of: Callable[[Role], Visitor]) -> Visitor:
    return client_of(Role.VOLUNTEER)


@pytest.fixture
def archivist(client_of: Callable[[Role], Visitor]) -> Visitor:
    return client_of(Role.ARCHIVIST)


@pytest.fixture
def administrator(client_of: Callable[[Role], Visitor]) -> Visitor:
    return client_of(Role.ADMINISTRATOR)
