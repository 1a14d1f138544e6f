"""Photos and permission to run over JSON."""

import pytest

from server.catalog.named import SOMEBODY
from tests import camera
from tests.api.conftest import V1
from tests.api.test_records import NEW_REPORT, NEW_TAPE

TAPE = f"{V1}/tapes/1978.12"


@pytest.fixture
def tape(archivist):
    assert archivist.post(f"{V1}/tapes", json=NEW_TAPE).status_code == 201
    return TAPE


def sent(data=None):
    return {"file": ("a.jpg", camera.located() if data is None else data, "image/jpeg")}


def test_a_photo_is_added_shown_described_and_taken_away(tape, volunteer, visitor):
    made = volunteer.post(f"{tape}/photos", files=sent(), data={"shows": "The box"})
    photo = made.json()
    where = made.headers["Location"]

    assert (made.status_code, photo["shows"], photo["width"]) == (201, "The box", 320)
    assert volunteer.get(where).json() == photo
    assert visitor.get(where).json() == photo | {"by": SOMEBODY}
    assert volunteer.get(f"{tape}/photos").json() == [photo]
    for name in ("whole", "small"):
        picture = visitor.get(f"{where}/{name}")
        assert picture.headers["Content-Type"] == "image/jpeg"
        assert picture.content.startswith(b"\xff\xd8")
    told = volunteer.put(f"{where}/shows", json={"shows": "Its box"}).json()
    assert told == photo | {"shows": "Its box"}
    assert volunteer.delete(where).status_code == 200
    assert visitor.get(where).status_code == 404


def test_a_photo_may_go_with_a_report(tape, volunteer):
    report = volunteer.post(f"{V1}/condition-reports", json=NEW_REPORT).json()["id"]
    made = volunteer.post(f"{tape}/photos", files=sent(), data={"report": str(report)})

    assert made.json()["report"] == report
    assert volunteer.post(f"{tape}/photos", files=sent(), data={"report": "99"}).status_code == 404


@pytest.mark.parametrize(
    ("files", "data", "field"),
    [
        (sent(b"frames"), {}, "photos"),
        (sent(), {"colour": "blue"}, "colour"),
        (sent(), {"report": "first"}, "report"),
        ({"shows": (None, "words")}, {}, "file"),
    ],
)
def test_what_is_no_photo_is_refused_by_name(tape, volunteer, files, data, field):
    answer = volunteer.post(f"{tape}/photos", files=files, data=data)

    assert answer.status_code == 422
    assert [each["field"] for each in answer.json()["errors"]] == [field]


def test_a_photo_comes_in_a_form(tape, volunteer):
    assert volunteer.post(f"{tape}/photos", json={}).status_code == 415


def test_what_a_station_asks_is_answered(tape, archivist, volunteer, visitor):
    assert visitor.get(f"{tape}/running").json()["may_run"] is True
    volunteer.post(f"{V1}/condition-reports", json=NEW_REPORT | {"handling": "do not run"})
    told = visitor.get(f"{tape}/running").json()
    assert (told["do_not_run"], told["may_run"], told["permission"]) == (True, False, None)
    assert told["warnings"][0].startswith("Do not run this tape")
    assert visitor.get(tape).json()["do_not_run"] is True
    assert visitor.get(f"{V1}/tapes").json()["items"][0]["do_not_run"] is True

    word = {"reason": "By hand, by two."}
    assert volunteer.put(f"{tape}/running/permission", json=word).status_code == 403
    allowed = archivist.put(f"{tape}/running/permission", json=word).json()
    assert (allowed["may_run"], allowed["permission"]["reason"]) == (True, "By hand, by two.")
    assert archivist.put(f"{tape}/running/permission", json=word).status_code == 409
    assert archivist.delete(f"{tape}/running/permission").json()["may_run"] is False


def test_a_tape_that_is_held_apart_is_run_on_no_word(tape, archivist):
    archivist.post(f"{V1}/condition-reports", json=NEW_REPORT | {"hazard": "mould suspected"})
    answer = archivist.put(f"{tape}/running/permission", json={"reason": "With a mask."})

    assert answer.json()["code"] == "quarantined"
