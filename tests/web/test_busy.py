"""A database that is held by others: pages and documents say when to come again."""

from contextlib import ExitStack

import pytest
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.store.engine import make_engine

V1 = "/api/v1"


@pytest.fixture
def app(sqlite_settings):
    return create_app(
        sqlite_settings.model_copy(update={"database_wait_seconds": 0.1, "max_threads": 1})
    )


@pytest.fixture
def client(app):
    with TestClient(app, follow_redirects=False, raise_server_exceptions=False) as client:
        yield client


def take_every_connection(app, held):
    while True:
        try:
            held.enter_context(app.state.engine.connect())
        except PoolTimeout:
            return


@pytest.mark.parametrize(
    ("path", "kind"), [("/tapes", "text/html"), (f"{V1}/tapes", "application/problem+json")]
)
def test_where_every_connection_is_taken_one_is_asked_to_come_again(app, client, path, kind):
    with ExitStack() as held:
        take_every_connection(app, held)
        answer = client.get(path)

    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "2")
    assert answer.headers["Content-Type"].startswith(kind)
    assert client.get(path).status_code == 200


def test_where_another_writes_for_long_one_is_asked_to_come_again(app, client, sqlite_settings):
    page = client.get("/sign-in").text
    secret = page.partition('name="csrf" value="')[2].partition('"')[0]
    attempt = {"name": "pat", "password": "a long enough pass phrase"}
    other = make_engine(Settings(database_url=sqlite_settings.database_url))
    with other.begin():
        answers = [
            client.post("/sign-in", data={"csrf": secret, **attempt}),
            client.post(f"{V1}/tokens", json={**attempt, "label": "desk"}),
        ]
    other.dispose()

    assert [answer.status_code for answer in answers] == [503, 503]
    assert {answer.headers["Retry-After"] for answer in answers} == {"2"}
    assert not any("locked" in answer.text for answer in answers)
