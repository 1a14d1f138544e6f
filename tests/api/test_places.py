"""Places, loans, requests and shelf checks over JSON, each step as the pages take it."""

from datetime import date, timedelta

import pytest

from tests.api.conftest import V1

SOON = (date.today() + timedelta(days=9)).isoformat()  # noqa: DTZ011 - a day does not matter
BOX = "Loft, shelf 2, box 5"
TAPE = "1979.1"


@pytest.fixture
def shelf(volunteer):
    for number in (TAPE, "1979.2"):
        new = {"title": "Tides", "accession_number": number, "place": BOX}
        assert volunteer.post(f"{V1}/tapes", json=new).status_code == 201
    rows = volunteer.get(f"{V1}/places").json()["items"]
    return {row["path"]: row["id"] for row in rows}


def test_a_place_is_made_changed_moved_closed_and_opened_again(volunteer, archivist, shelf):
    new = {"name": "Cellar", "kind": "room", "note": "Damp"}
    made = volunteer.post(f"{V1}/places", json=new)
    assert (made.status_code, made.headers["ETag"]) == (201, '"1"')
    at = made.headers["Location"]
    assert volunteer.get(at).json() == made.json()

    changed = volunteer.patch(at, json={"note": "Dry"}, headers={"If-Match": '"1"'})
    assert (changed.json()["note"], changed.headers["ETag"]) == ("Dry", '"2"')
    named = volunteer.patch(at, json={"name": "Vault"}, headers={"If-Match": "*"})
    assert named.status_code == 403
    assert archivist.post(f"{at}/close").json()["closed"]
    assert archivist.post(f"{at}/close").status_code == 409
    assert archivist.post(f"{at}/reopen").json()["closed"] is None
    assert volunteer.post(f"{at}/reopen").status_code == 403

    where = f"{V1}/places/{shelf['Loft, shelf 2']}"
    into = {"parent": made.json()["id"], "why": "The roof leaks"}
    moved = volunteer.post(f"{where}/move", json=into)
    assert moved.json()["path"] == "Cellar, shelf 2"
    assert volunteer.get(f"{V1}/tapes/{TAPE}").json()["place"] == "Cellar, shelf 2, box 5"
    lying = volunteer.get(f"{where}/tapes").json()
    assert [each["accession_number"] for each in lying["items"]] == [TAPE, "1979.2"]
    assert volunteer.get(f"{V1}/places/99").status_code == 404


def test_tapes_are_moved_and_missed_and_each_move_is_told(volunteer, shelf):
    move = {"tapes": [TAPE], "written": "Punch table", "why": "To be read"}
    assert volunteer.post(f"{V1}/movements", json=move).status_code == 204
    there = volunteer.get(f"{V1}/tapes/{TAPE}/whereabouts").json()
    assert (there["state"], there["written"]) == ("placed", "Punch table")
    assert there["usual"]["path"] == BOX
    missing = {"tapes": [TAPE, "1979.2"], "why": "Not there"}
    assert volunteer.post(f"{V1}/movements/missing", json=missing).status_code == 204
    told = volunteer.get(f"{V1}/movements?tape={TAPE}").json()["items"]
    assert [each["to_where"] for each in told] == ["missing", "Punch table", BOX]
    assert volunteer.post(f"{V1}/movements", json={"tapes": [TAPE]}).status_code == 422
    lost = volunteer.post(f"{V1}/movements", json=move | {"tapes": ["1901.1"]})
    assert lost.status_code == 404


def test_a_loan_goes_its_way(volunteer, archivist, shelf):
    new = {"tape": TAPE, "borrower": "A school", "purpose": "To show", "due_on": SOON}
    made = volunteer.post(f"{V1}/loans", json=new)
    at = made.headers["Location"]
    assert volunteer.get(at).json() == made.json()
    assert volunteer.post(f"{at}/approve", json={}).status_code == 403
    assert archivist.post(f"{at}/approve", json={}).json()["status"] == "approved"
    assert volunteer.post(f"{at}/give-out", json={}).status_code == 422
    assert volunteer.post(f"{at}/give-out", json={"state": "good"}).json()["days"] == 9
    assert volunteer.post(f"{at}/give-out", json={"state": "good"}).status_code == 409
    later = {"due_on": SOON, "why": "They asked"}
    assert archivist.post(f"{at}/extend", json=later).status_code == 200
    back = volunteer.post(f"{at}/take-back", json={"state": "worn"}).json()
    assert (back["status"], back["back_state"]) == ("back", "worn")
    rows = volunteer.get(f"{V1}/loans?tape={TAPE}").json()["items"]
    assert [each["status"] for each in rows] == ["back"]

    for end in ("refuse", "withdraw", "lose"):
        other = volunteer.post(f"{V1}/loans", json=new).headers["Location"]
        if end == "lose":
            archivist.post(f"{other}/approve", json={})
            archivist.post(f"{other}/give-out", json={"state": "good"})
        assert archivist.post(f"{other}/{end}", json={"why": "So it is"}).status_code == 200


def test_a_tape_held_apart_is_not_lent_without_a_reason(volunteer, archivist, shelf):
    report = {"tape": TAPE, "checked_on": "2026-05-04", "state": "good"}
    report |= {"hazard": "mould suspected"}
    assert volunteer.post(f"{V1}/condition-reports", json=report).status_code == 201
    new = {"tape": TAPE, "borrower": "A school", "purpose": "To show", "due_on": SOON}
    at = volunteer.post(f"{V1}/loans", json=new).headers["Location"]

    refused = archivist.post(f"{at}/approve", json={})
    assert (refused.status_code, refused.json()["code"]) == (409, "quarantined")
    reason = {"reason": "To the conservator"}
    assert archivist.post(f"{at}/approve", json=reason).json()["uncovered"] == []


def test_a_request_is_asked_and_settled(volunteer, archivist, shelf):
    new = {"tape": TAPE, "wanted_on": SOON, "purpose": "The open day"}
    made = volunteer.post(f"{V1}/requests", json=new)
    at = made.headers["Location"]
    assert volunteer.get(at).json()["tapes"] == [TAPE]
    (entry,) = volunteer.get(f"{V1}/queues/requested").json()["items"]
    assert (entry["request"], entry["tape"]) == (made.json()["id"], TAPE)
    assert volunteer.post(f"{at}/punched", json={"punching": 9}).status_code == 404
    given = {"tape": TAPE, "place": "Show table"}
    assert volunteer.post(f"{at}/hand-out", json=given).json()["handed"] == TAPE
    assert volunteer.get(f"{V1}/requests?status=handed%20out").json()["total"] == 1
    other = volunteer.post(f"{V1}/requests", json=new).headers["Location"]
    assert volunteer.post(f"{other}/withdraw", json={"why": "Rain"}).json()["note"] == "Rain"
    assert volunteer.post(f"{V1}/requests", json=new | {"program": 1}).status_code == 422


def test_a_shelf_is_checked(volunteer, shelf):
    new = {"place": shelf["Loft"]}
    made = volunteer.post(f"{V1}/shelf-checks", json=new)
    at = made.headers["Location"]
    assert volunteer.post(f"{V1}/shelf-checks", json=new).status_code == 409
    assert volunteer.post(f"{at}/found", json={"tapes": [TAPE, "1979.2"]}).json()["found"] == 2
    assert volunteer.post(f"{at}/not-found", json={"tapes": ["1979.2"]}).json()["found"] == 1
    closed = volunteer.post(f"{at}/close", json={"mark_missing": True, "note": "Cold"}).json()
    told = {item["tape"]: item["outcome"] for item in closed["items"]}
    assert told == {TAPE: "where it should be", "1979.2": "not found"}
    (row,) = volunteer.get(f"{V1}/shelf-checks?place={shelf['Loft']}").json()["items"]
    assert (row["expected"], row["found"], row["differing"]) == (2, 1, 1)
    assert volunteer.get(at).json()["note"] == "Cold"
