"""The whole way over JSON on either database: sign in, describe, upload, find, change, download."""

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog.accounts import create_person
from server.catalog.work import COMMAND, Role, unit_of_work
from tests.api.conftest import PASSWORD, V1
from tests.api.tapes_to_read import ORCHARD, text_tape

TAPE = text_tape(ORCHARD)


@pytest.fixture
def client(settings):
    app = create_app(settings)
    with TestClient(app) as client:
        with unit_of_work(app.state.engine, COMMAND) as work:
            create_person(work, "ada", PASSWORD, Role.ARCHIVIST)
        yield client


def test_the_whole_way_is_the_same_on_either_database(client):
    issued = client.post(f"{V1}/tokens", json={"name": "ADA", "password": PASSWORD}).json()
    client.headers["Authorization"] = f"Bearer {issued['token']}"

    made = client.post(f"{V1}/tapes", json={"title": "Orchard", "accession_number": "1978.12"})
    file = {"file": ("reel.bin", TAPE)}
    first = client.post(f"{V1}/images", files=file, data={"tape": "1978.12"})
    again = client.post(f"{V1}/images", files=file)
    found = client.get(f"{V1}/search", params={"q": "apples THIS"}).json()
    changes = [
        client.patch(f"{V1}/tapes/1978.12", json={"place": place}, headers={"If-Match": '"1"'})
        for place in ("Cabinet 1", "Cabinet 2")
    ]

    assert (made.status_code, first.status_code, again.status_code) == (201, 201, 200)
    assert [(hit["tape"], hit["line"]) for hit in found["hits"]] == [("1978.12", 7)]
    assert [each.status_code for each in changes] == [200, 412]
    assert client.get(f"{V1}/images/{first.json()['sha256']}/frames").content == TAPE
