"""Merged readings over JSON: made, read, listed, their disputes a page at a time, and settled."""

import hashlib

import pytest

from tests.api.conftest import V1
from tests.api.sending import upload
from tests.readings import HEX, PUNCHED, TAPE, flipped, three, tied

HERE = f"{V1}/merged-readings"


@pytest.fixture
def held(volunteer):
    """Uploads readings of one tape, and gives their numbers."""

    def send(*readings: bytes) -> list[int]:
        volunteer.post(f"{V1}/tapes", json={"title": "Tide rows", "accession_number": TAPE})
        return [
            upload(volunteer, data, tape=TAPE, read_on=f"2026-03-0{place + 1}").json()["reading"]
            for place, data in enumerate(readings)
        ]

    return send


def test_readings_are_merged_at_an_address_that_gives_what_they_came_to(held, volunteer, visitor):
    numbers = held(*three(HEX))
    made = volunteer.post(HERE, json={"readings": numbers})
    told = made.json()

    assert made.status_code == 201
    assert made.headers["Location"] == f"{HERE}/{told['id']}"
    assert volunteer.get(made.headers["Location"]).json() == told
    assert told["sha256"] == hashlib.sha256(HEX).hexdigest()
    assert (told["tape"], told["readings"], told["agree"]) == (TAPE, numbers, True)
    assert [each["orientation"] for each in told["sources"]] == ["as-read", "reversed", "as-read"]
    assert set(told["counts"]) == {"checksum"}
    assert sum(run["frames"] for run in told["confidence"]) == len(HEX)
    image = visitor.get(f"{V1}/images/{told['sha256']}").json()
    assert image["verification"]["word"] == "readings agree"
    assert [each["merged"] for each in image["readings"]] == [told["id"]]


def test_disputes_come_a_page_at_a_time_with_each_vote(held, volunteer, visitor):
    numbers = held(*three(PUNCHED))
    merged = volunteer.post(HERE, json={"readings": numbers}).json()
    first = visitor.get(f"{HERE}/{merged['id']}/disputes", params={"page_size": 2})
    whole = visitor.get(f"{HERE}/{merged['id']}/disputes").json()

    assert whole["total"] == merged["disputes"]
    assert first.json()["items"] == whole["items"][:2]
    assert 'rel="next"' in first.headers["Link"]
    one = whole["items"][0]
    assert one["position_mm"] == round(one["frame"] * 2.54, 2)
    assert [vote["reading"] for vote in one["votes"]] == numbers
    assert one["votes"][0]["holes"].replace(" ", "").translate({111: "1", 46: "0"}) == (
        f"{one['votes'][0]['value']:08b}"
    )


def test_an_archivist_settles_what_is_open(held, volunteer, archivist, visitor):
    merged = volunteer.post(HERE, json={"readings": held(*tied(PUNCHED))}).json()
    (open_,) = visitor.get(f"{HERE}/{merged['id']}/disputes", params={"settled_by": "open"}).json()[
        "items"
    ]
    ruling = {
        "column": open_["column"], "ruling": "frame", "value": PUNCHED[300], "note": "a clear hole",
    }  # fmt: skip
    settled = archivist.post(f"{HERE}/{merged['id']}/settlements", json=ruling)
    told = settled.json()

    assert settled.status_code == 201
    assert settled.headers["Location"] == f"{HERE}/{told['id']}"
    assert (told["follows"], told["agree"], told["counts"]) == (merged["id"], False, {"eye": 1})
    assert told["sha256"] == hashlib.sha256(PUNCHED).hexdigest()
    assert [each["note"] for each in told["settlements"]] == ["a clear hole"]
    (item,) = visitor.get(f"{HERE}/{told['id']}/disputes").json()["items"]
    assert item["settlement"]["by"] == "a volunteer"
    (item,) = archivist.get(f"{HERE}/{told['id']}/disputes").json()["items"]
    assert item["settlement"]["by"] == "Archivist"
    assert visitor.get(f"{HERE}/{merged['id']}").json()["followed_by"] == told["id"]
    again = archivist.post(f"{HERE}/{merged['id']}/settlements", json=ruling)
    assert (again.status_code, again.json()["code"]) == (409, "conflict")


def test_merged_readings_are_listed_by_tape_and_image(held, volunteer, visitor):
    numbers = held(*three(PUNCHED))
    merged = volunteer.post(HERE, json={"readings": numbers}).json()
    source = merged["sources"][0]["reading"]["sha256"]
    for asked in ({}, {"tape": TAPE}, {"image": source}, {"image": merged["sha256"]}):
        assert [each["id"] for each in visitor.get(HERE, params=asked).json()["items"]] == [
            merged["id"]
        ]
    assert visitor.get(HERE, params={"tape": "1999.9"}).status_code == 404
    assert visitor.get(HERE, params={"image": "short"}).status_code == 422


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"readings": [1]}, 422),
        ({"readings": [1, 999]}, 422),
        ({"readings": [1, 2], "sha256": "0" * 64}, 409),
        ({"readings": "1,2"}, 422),
        ({}, 422),
    ],
)
def test_what_cannot_be_merged_is_told_with_its_field(held, volunteer, body, status):
    held(PUNCHED, flipped(PUNCHED, 100))
    refused = volunteer.post(HERE, json=body)

    assert refused.status_code == status
    assert refused.json()["mend"]


def test_visitors_do_not_merge_and_volunteers_do_not_settle(held, visitor, volunteer):
    numbers = held(*three(PUNCHED))
    merged = volunteer.post(HERE, json={"readings": numbers}).json()
    ruling = {"column": 0, "ruling": "no-frame", "note": "a fold"}

    assert visitor.post(HERE, json={"readings": numbers}).status_code == 401
    assert volunteer.post(f"{HERE}/{merged['id']}/settlements", json=ruling).status_code == 403


def test_what_is_not_held_is_not_found(visitor, archivist):
    ruling = {"column": 0, "ruling": "no-frame", "note": "a fold"}

    assert visitor.get(f"{HERE}/7").status_code == 404
    assert visitor.get(f"{HERE}/7/disputes").status_code == 404
    assert archivist.post(f"{HERE}/7/settlements", json=ruling).status_code == 404
    assert visitor.get(f"{HERE}/0").status_code == 422
