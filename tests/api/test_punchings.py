"""Punchings over JSON: what the station does, from the prepared frames to the reading sent back."""

import pytest

from server.catalog.work import Role
from tests import factories
from tests.api.conftest import V1
from tests.api.sending import sha, upload

PUNCHED = {"medium": "paper", "punch": "the tall one", "rate": 70, "punched_on": "2026-11-24"}
AT = f"{V1}/punchings"


@pytest.fixture
def monitor(volunteer):
    """An image that its own checksums vouch for."""
    return upload(volunteer, factories.hex_tape()).json()["sha256"]


def begin(client, image, **more):
    answer = client.post(AT, json={"image": image, **more})
    assert answer.status_code == 201, answer.text
    return answer.json()


def punched(client, image):
    (made,) = begin(client, image)
    assert client.post(f"{AT}/{made['id']}/punched", json=PUNCHED).status_code == 200
    return made["id"], client.get(f"{AT}/{made['id']}/frames").content


def send(client, number, data, headers=None, **fields):
    return client.post(
        f"{AT}/{number}/read-backs",
        files={"file": ("back.bin", data)},
        data=fields,
        headers=headers or {},
    )


def test_a_station_punches_and_reads_back(volunteer, monitor):
    answer = volunteer.post(
        AT, json={"image": monitor, "preparation": {"leader_frames": 80, "lettering": "MON"}}
    )
    (made,) = answer.json()
    frames = volunteer.get(f"{AT}/{made['id']}/frames")
    said = volunteer.post(f"{AT}/{made['id']}/punched", json=PUNCHED).json()
    done = send(volunteer, made["id"], bytes(9) + frames.content, reader="optical").json()
    tape = volunteer.get(f"{V1}/tapes/{done['tape']}").json()
    image = volunteer.get(f"{V1}/images/{done['read_backs'][0]['image']}").json()

    assert answer.headers["Location"] == f"{AT}/{made['id']}"
    assert (made["status"], made["lettering"], made["reels"]) == ("prepared", "MON", 1)
    assert made["preparation"]["leader_frames"] == 80
    assert (frames.headers["Content-Type"], sha(frames.content)) == (
        "application/octet-stream",
        made["sha256"],
    )
    assert len(frames.content) == made["frames"]
    assert (said["status"], said["rate"], said["punched_on"]) == ("punched", 70, "2026-11-24")
    assert (done["status"], done["read_backs"][0]["same"]) == ("read back: same", True)
    assert done["read_backs"][0]["leader"]["extra"] == 9
    assert (tape["punching"], tape["made"]) == (made["id"], "2026-11-24")
    assert image["verification"]["word"] == "read back"


def test_where_a_reading_differs_is_told_frame_by_frame(volunteer, monitor):
    number, frames = punched(volunteer, monitor)
    at = frames.index(b":") + 5
    answer = send(volunteer, number, factories.damaged(frames, at, channel=1))
    (found,) = answer.json()["read_backs"]
    (place,) = found["places"]

    assert answer.status_code == 200
    assert (answer.json()["status"], answer.json()["tape"]) == ("read back: differs", None)
    assert (found["same"], found["differing"], found["total"]) == (False, 1, 1)
    assert (place["kind"], place["frame"]) == ("changed", at)
    assert place["position_mm"] == pytest.approx(at * 2.54, abs=0.01)
    assert set(place["prepared"][0]) ^ set(place["read"][0]) == {1}
    assert [each["channel"] for each in found["channels"]] == [1]


def test_a_stopped_punch_goes_on_at_a_frame(volunteer, monitor):
    (made,) = begin(volunteer, monitor)
    whole = volunteer.get(f"{AT}/{made['id']}/frames")
    tag = whole.headers["ETag"]
    rest = volunteer.get(
        f"{AT}/{made['id']}/frames", headers={"Range": "bytes=100-", "If-Range": tag}
    )

    assert rest.status_code == 206
    assert rest.content == whole.content[100:]


def test_punchings_are_listed_and_narrowed(volunteer, visitor, monitor):
    number, frames = punched(volunteer, monitor)
    tape = send(volunteer, number, frames).json()["tape"]
    (waiting,) = begin(volunteer, monitor, preparation={"leader_frames": 10})

    def listed(**query):
        return [each["id"] for each in visitor.get(AT, params=query).json()["items"]]

    assert listed() == [waiting["id"], number]
    assert listed(tape=tape) == listed(status="read back: same") == [number]
    assert listed(image=monitor, status="prepared") == [waiting["id"]]
    assert visitor.get(AT, params={"status": "half"}).status_code == 422


def test_a_version_may_be_named_and_must_be_of_the_image(archivist, monitor):
    program = archivist.post(f"{V1}/programs", json={"title": "Monitor"}).json()["id"]
    made = archivist.post(
        f"{V1}/programs/{program}/versions", json={"label": "3", "sha256": monitor}
    ).json()
    version = made["versions"][0]["id"]
    (begun,) = begin(archivist, monitor, version=version)
    wrong = archivist.post(AT, json={"image": monitor, "version": version + 1})

    assert (begun["title"], begun["version"]["label"]) == ("Monitor, version 3", "3")
    assert wrong.status_code == 422


def test_what_nothing_vouches_for_must_be_acknowledged(volunteer):
    image = upload(volunteer, factories.text_tape()).json()["sha256"]
    refused = volunteer.post(AT, json={"image": image})
    (made,) = begin(volunteer, image, acknowledged=True)

    assert (refused.status_code, refused.json()["type"]) == (409, "/help/problems#not-verified")
    assert made["from_verified"] is False
    assert (
        volunteer.get(f"{AT}/{made['id']}/frames").headers["Feedhole-Verification"] == "unverified"
    )


@pytest.mark.parametrize(
    "preparation", [{"leader_frames": -1}, {"colour": "red"}, {"format": "no-such"}]
)
def test_a_preparation_that_cannot_be_is_refused(volunteer, monitor, preparation):
    answer = volunteer.post(AT, json={"image": monitor, "preparation": preparation})

    assert answer.status_code == 422


def test_a_reading_back_gives_no_tape_or_levels_and_its_digest_is_checked(volunteer, monitor):
    number, frames = punched(volunteer, monitor)
    given = send(volunteer, number, frames, tape="1978.1", levels="8")
    wrong = send(volunteer, number, frames, sha256="0" * 64)
    broken = send(
        volunteer, number, frames, headers={"Content-Digest": "sha-256=:" + "A" * 43 + "=:"}
    )

    assert [each.status_code for each in (given, wrong, broken)] == [422, 422, 400]
    assert {each["field"] for each in given.json()["errors"]} == {"tape", "levels"}
    assert volunteer.get(f"{AT}/{number}").json()["read_backs"] == []


def test_a_step_that_does_not_follow_is_a_conflict(volunteer, monitor):
    (made,) = begin(volunteer, monitor)
    at = f"{AT}/{made['id']}"
    early = send(volunteer, made["id"], b"\1")
    given_up = volunteer.post(f"{at}/give-up", json={"note": "no paper"})
    twice = volunteer.post(f"{at}/give-up", json={})
    again = volunteer.post(f"{at}/again")

    assert [each.status_code for each in (early, given_up, twice, again)] == [409, 200, 409, 200]
    assert again.json()["status"] == "prepared"


def test_volunteers_punch_and_visitors_look(visitor, volunteer, monitor):
    (made,) = begin(volunteer, monitor)
    at = f"{AT}/{made['id']}"
    answers = [
        visitor.post(AT, json={"image": monitor}),
        visitor.get(f"{at}/frames"),
        visitor.post(f"{at}/punched", json=PUNCHED),
        send(visitor, made["id"], b"\1"),
        visitor.post(f"{at}/again"),
        visitor.post(f"{at}/give-up", json={}),
    ]

    assert [each.status_code for each in answers] == [401] * len(answers)
    assert visitor.get(at).json()["status"] == "prepared"
    assert visitor.get(f"{AT}/999").status_code == 404


def test_roles_above_volunteers_may_too(client_of, monitor):
    for role in (Role.ARCHIVIST, Role.ADMINISTRATOR):
        assert begin(client_of(role), monitor)
