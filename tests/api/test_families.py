"""Families and background work, through the API."""

import time

import pytest

from server.jobs.background import Background
from tests.api.conftest import V1
from tests.api.tapes_to_read import ORCHARD, text_tape


@pytest.fixture
def kin(volunteer):
    """Two images, the second with a line more."""
    tapes = (text_tape(ORCHARD), text_tape([*ORCHARD[:2], "25 PRINT", *ORCHARD[2:]]))
    return [
        volunteer.post(f"{V1}/images", files={"file": ("reel.bin", tape)}).json()["sha256"]
        for tape in tapes
    ]


def family(client, sha256):
    return client.get(f"{V1}/images/{sha256}/family").json()


def test_a_family_is_told_from_its_root(visitor, kin):
    told = family(visitor, kin[1])
    assert (told["program"], told["more"], told["taken_out"]) == (None, 0, [])
    root, other = told["members"]
    assert {root["sha256"], other["sha256"]} == set(kin)
    assert (root["closest"], root["depth"], root["kin"]) == (None, 0, None)
    assert (other["closest"], other["depth"], other["near"]) == (root["sha256"], 1, True)
    assert other["kin"]["unit"] == "line"
    assert other["kin"]["added"] + other["kin"]["removed"] == 1


def test_the_family_of_a_program(visitor, archivist, kin):
    program = archivist.post(f"{V1}/programs", json={"title": "Orchard"}).json()["id"]
    assert visitor.get(f"{V1}/programs/{program}/family").json()["members"] == []
    version = {"label": "1", "sha256": kin[1]}
    archivist.post(f"{V1}/programs/{program}/versions", json=version)
    told = visitor.get(f"{V1}/programs/{program}/family").json()
    assert told["program"] == program
    assert [(each["sha256"], each["label"]) for each in told["members"]] == [
        (kin[1], "1"),
        (kin[0], None),
    ]
    assert visitor.get(f"{V1}/programs/999/family").status_code == 404


def test_decisions_are_made_and_taken_back(visitor, archivist, kin):
    at = f"{V1}/images/{kin[1]}/family/decisions"
    made = archivist.post(at, json={"kind": "made-from", "other": kin[0], "note": "it says so"})
    assert made.status_code == 201
    decision = made.json()["members"][1]["decision"]
    assert (decision["kind"], decision["by"]) == ("made-from", "Archivist")
    apart = archivist.post(at, json={"kind": "apart"}).json()
    assert [each["sha256"] for each in apart["members"]] == [kin[1]]
    assert [each["sha256"] for each in apart["taken_out"]] == [kin[0]]
    back = archivist.post(at, json={"kind": "undecided"}).json()
    assert len(back["members"]) == 2
    assert back["members"][1]["decision"] is None


def test_decisions_are_for_archivists_and_about_two_images(volunteer, archivist, kin):
    at = f"{V1}/images/{kin[1]}/family/decisions"
    assert volunteer.post(at, json={"kind": "apart"}).status_code == 403
    assert archivist.post(at, json={"kind": "together"}).status_code == 422
    assert archivist.post(at, json={"kind": "nearly"}).status_code == 422
    assert archivist.post(at, json={"kind": "together", "other": "0" * 64}).status_code == 404


def test_a_pass_is_started_and_looked_at(app, archivist, volunteer, kin):
    at = f"{V1}/work/kin-pass"
    assert volunteer.get(at).status_code == 403
    assert archivist.get(at).json() is None
    assert archivist.post(at).status_code == 409
    with Background(app.state.settings) as background:
        app.state.background = background
        try:
            started = archivist.post(at)
            assert started.status_code == 202
            told, until = started.json(), time.monotonic() + 20
            while told["standing"] != "done" and time.monotonic() < until:
                time.sleep(0.05)
                told = archivist.get(at).json()
            assert (told["by"], told["images"], told["pairs"]) == ("Archivist", 2, 1)
            assert archivist.delete(at).json() == told
        finally:
            app.state.background = None
