"""Load sheets over JSON: got, written against a revision, and as they were before."""

import hashlib

import pytest

from tests.api.conftest import V1
from tests.api.tapes_to_read import hex_tape

TAPE = hex_tape()
SHA = hashlib.sha256(TAPE).hexdigest()
IMAGE = f"{V1}/images/{SHA}/sheet"


@pytest.fixture
def version(archivist) -> str:
    """The address of the sheet of a version."""
    archivist.post(f"{V1}/images", files={"file": ("a.bin", TAPE)})
    program = archivist.post(f"{V1}/programs", json={"title": "Lamps"}).json()["id"]
    new = {"label": "1", "sha256": SHA}
    made = archivist.post(f"{V1}/programs/{program}/versions", json=new).json()
    return f"{V1}/programs/{program}/versions/{made['versions'][0]['id']}/sheet"


@pytest.mark.parametrize("of_image", [True, False])
def test_a_sheet_is_got_written_and_its_history_kept(visitor, volunteer, version, of_image):
    where = IMAGE if of_image else version
    got = visitor.get(where)
    put = volunteer.put(
        where, json={"steps": "Go", "note": "ours"}, headers={"If-Match": got.headers["ETag"]}
    )
    told = visitor.get(f"{where}/revisions").json()

    assert (got.status_code, got.headers["ETag"], got.json()["written"]) == (200, '"1"', [])
    assert (put.status_code, put.headers["ETag"], put.json()["written"]) == (200, '"2"', ["steps"])
    assert put.json() == volunteer.get(where).json()
    assert put.json()["texts"]["steps"] == "Go"
    assert put.json()["points"] == 11
    assert {"heading": "At the machine", "lines": ["Go"]} in put.json()["sections"]
    assert [(each["revision"], each["note"], each["changed"]) for each in told] == [
        (2, "ours", ["steps"]),
        (1, "", []),
    ]


def test_a_sheet_says_how_its_machine_writes_addresses(volunteer, version):
    body = {"notation": "split-octal", "bootstrap": "000 000: 303 000 001 ; go"}
    put = volunteer.put(version, json=body, headers={"If-Match": "*"}).json()

    assert (put["notation"], put["chosen_notation"]) == ("split-octal", "split-octal")
    assert put["cells"][1:] == [
        {"address": "000 001", "contents": "000", "remark": ""},
        {"address": "000 002", "contents": "001", "remark": ""},
    ]


@pytest.mark.parametrize(
    ("match", "status", "code"),
    [
        (None, 428, "revision-missing"),
        ('"7"', 412, "stale-revision"),
        ('"x"', 412, "stale-revision"),
    ],
)
def test_a_change_names_the_revision_that_it_is_made_against(
    volunteer, version, match, status, code
):
    headers = {"If-Match": match} if match else {}
    answer = volunteer.put(version, json={"steps": "Go"}, headers=headers)

    assert (answer.status_code, answer.json()["code"]) == (status, code)


def test_what_cannot_be_taken_names_its_field(volunteer, version):
    for body, field in (
        ({"bootstrap": "nonsense"}, "bootstrap"),
        ({"notation": "decimal"}, "notation"),
        ({"colour": "blue"}, "colour"),
    ):
        answer = volunteer.put(version, json=body, headers={"If-Match": "*"})

        assert answer.status_code == 422
        assert [each["field"] for each in answer.json()["errors"]] == [field]


def test_only_those_who_are_signed_in_write(visitor, version):
    assert visitor.put(version, json={}, headers={"If-Match": "*"}).status_code == 401


def test_what_is_not_held_has_no_sheet(visitor, version):
    for where in (f"{V1}/images/{'0' * 64}/sheet", f"{V1}/programs/1/versions/77/sheet"):
        assert visitor.get(where).status_code == 404
        assert visitor.get(f"{where}/revisions").status_code == 404
