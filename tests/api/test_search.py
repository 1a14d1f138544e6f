"""Search over JSON: where a run of characters stands, and marks that cannot do harm."""

import hashlib

import pytest

from server.api.search import marked_up
from tests.api.conftest import V1
from tests.api.tapes_to_read import ORCHARD, text_tape

TAPE = text_tape(ORCHARD)
SHA = hashlib.sha256(TAPE).hexdigest()


@pytest.fixture
def library(volunteer, visitor):
    volunteer.post(
        f"{V1}/tapes",
        json={"title": "Orchard reel", "accession_number": "1978.12", "notes": "From a teacher"},
    )
    volunteer.post(f"{V1}/images", files={"file": ("a", TAPE)}, data={"tape": "1978.12"})
    return visitor


def find(client, **query):
    return client.get(f"{V1}/search", params=query).json()


def test_a_run_in_a_listing_is_found_with_its_line(library):
    found = find(library, q="apples this")

    assert found["total"] == 1
    assert found["next_cursor"] is None
    hit = found["hits"][0]
    assert tuple(hit[name] for name in ("kind", "sha256", "tape", "line")) == (
        "listing",
        SHA,
        "1978.12",
        7,
    )
    assert "<mark>APPLES THIS</mark>" in hit["excerpt"]
    assert [piece["text"] for piece in hit["pieces"] if piece["match"]] == ["APPLES THIS"]


@pytest.mark.parametrize(("text", "field"), [("chard re", "title"), ("a TEACH", "notes")])
def test_a_run_in_a_record_is_found_with_its_field(library, text, field):
    hit = find(library, q=text)["hits"][0]

    assert ("tape", field, "1978.12") == tuple(hit[name] for name in ("kind", "field", "tape"))


def test_an_excerpt_escapes_what_the_tape_holds(library):
    hit = find(library, q="<AT LAST>")["hits"][0]

    assert "<mark>&lt;AT LAST&gt;</mark> &amp; MORE" in hit["excerpt"]
    assert hit["excerpt"].count("<mark>") == 1


def test_pieces_are_escaped_each_for_itself():
    assert marked_up((("a<b", False), ("</mark>", True))) == "a&lt;b<mark>&lt;/mark&gt;</mark>"


def test_what_stands_nowhere_is_not_found(library):
    assert tuple(find(library, q="no such run")[name] for name in ("total", "hits")) == (0, [])


def test_the_format_narrows_the_search(library):
    assert find(library, q="APPLES THIS", format="text")["total"] == 1
    assert find(library, q="APPLES THIS", format="intel-hex")["total"] == 0


def test_parts_follow_each_other_by_cursor(volunteer, visitor):
    for number in range(5):
        volunteer.post(f"{V1}/tapes", json={"title": f"Pump reel {number}"})
    seen, cursor = [], None
    while True:
        query = {"q": "pump", "limit": 2} | ({"cursor": cursor} if cursor else {})
        found = find(visitor, **query)
        seen += [hit["title"] for hit in found["hits"]]
        cursor = found["next_cursor"]
        if cursor is None:
            break

    assert {f"Pump reel {number}" for number in range(5)} == set(seen)
    assert len(seen) == 5


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({"cursor": "nonsense", "q": "pump"}, "cursor"),
        ({"q": "x" * 1000}, "q"),
        ({"q": "a\nb"}, "q"),
        ({"limit": "0", "q": "a"}, "limit"),
        ({"colour": "blue", "q": "a"}, "colour"),
    ],
)
def test_a_search_that_makes_no_sense_is_refused(visitor, query, field):
    answer = visitor.get(f"{V1}/search", params=query)

    assert answer.status_code == 422
    assert [field] == [each["field"] for each in answer.json()["errors"]]
