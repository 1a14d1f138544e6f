"""Queues of work and own lists as JSON."""

import pytest

from server.catalog.queues import QUEUES
from tests.api.conftest import V1
from tests.factories import text_tape

PRIMES = [f"{10 * n} PRINT {n * n}" for n in range(1, 30)]


@pytest.fixture
def tapes(volunteer):
    for number in ("1979.1", "1979.2"):
        new = {"title": "Tides", "accession_number": number, "place": "Box 1"}
        assert volunteer.post(f"{V1}/tapes", json=new).status_code == 201


def upload(client, data):
    return client.post(f"{V1}/images", files={"file": ("a.bin", data)}).json()["sha256"]


def test_all_queues_are_told_with_their_counts(visitor, tapes):
    told = visitor.get(f"{V1}/queues").json()

    assert [each["name"] for each in told] == list(QUEUES)
    (unread,) = [each for each in told if each["name"] == "unread"]
    assert (unread["count"], unread["more"], unread["about"]) == (2, False, "tape")
    assert (unread["role"], told[-1]["role"]) == ("volunteer", "archivist")
    (no_report,) = [each for each in told if each["name"] == "no-report"]
    assert no_report["title"] == "No condition report in 5 years"


def test_a_queue_is_told_a_page_at_a_time(visitor, tapes):
    response = visitor.get(f"{V1}/queues/unread?page_size=1&page=2")
    told = response.json()

    assert (told["total"], told["page"], told["pages"]) == (2, 2, 2)
    assert told["items"][0]["key"] == "1979.2"
    assert told["items"][0]["steps"][0]["address"] == "/upload?tape=1979.2"
    assert 'rel="prev"' in response.headers["Link"]
    assert visitor.get(f"{V1}/queues/nonsense").status_code == 404
    assert visitor.get(f"{V1}/queues/unread?page=0").status_code == 422


def test_an_own_list_is_put_together_and_taken_apart(volunteer, archivist, tapes):
    at = f"{V1}/queues/unread/mine/1979.1"
    assert volunteer.put(at).status_code == 204
    assert volunteer.put(at).status_code == 204
    (part,) = volunteer.get(f"{V1}/queues/mine").json()["parts"]
    assert (part["queue"]["name"], part["queue"]["count"]) == ("unread", 1)
    assert [each["key"] for each in part["entries"]] == ["1979.1"]
    seen = archivist.get(f"{V1}/queues/unread").json()["items"][0]
    assert (seen["mine"], seen["taken_by"]) == (False, ["Volunteer"])

    assert volunteer.delete(at).status_code == 204
    assert volunteer.delete(at).status_code == 404
    assert volunteer.get(f"{V1}/queues/mine").json() == {"parts": []}


def test_a_pair_goes_by_both_of_its_names(archivist):
    first, second = upload(archivist, text_tape(*PRIMES)), upload(
        archivist, text_tape(*PRIMES, "300 END"))  # fmt: skip
    (entry,) = archivist.get(f"{V1}/queues/kin-to-judge").json()["items"]

    assert entry["key"] == f"{first}-{second}"
    assert archivist.put(f"{V1}/queues/kin-to-judge/mine/{entry['key']}").status_code == 204
    assert archivist.get(f"{V1}/queues/kin-to-judge").json()["items"][0]["mine"] is True
    assert archivist.put(f"{V1}/queues/kin-to-judge/mine/{first}").status_code == 404
    assert archivist.put(f"{V1}/queues/kin-to-judge/mine/{first}-{first}").status_code == 422


def test_what_is_not_in_the_queue_is_refused(volunteer, tapes):
    assert volunteer.put(f"{V1}/queues/damaged-checks/mine/1979.1").status_code == 409
    assert volunteer.put(f"{V1}/queues/tapes-by-hand/mine/1979.1").status_code == 204
    assert volunteer.put(f"{V1}/queues/unread/mine/1901.1").status_code == 404


def test_a_list_is_for_those_who_are_signed_in(visitor, tapes):
    assert visitor.get(f"{V1}/queues/mine").status_code == 401
    assert visitor.put(f"{V1}/queues/unread/mine/1979.1").status_code == 401
    assert visitor.delete(f"{V1}/queues/unread/mine/1979.1").status_code == 401
