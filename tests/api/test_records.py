"""Tapes, programs and condition reports over JSON: made, read, listed and changed."""

import hashlib

import pytest

from server.catalog.named import SOMEBODY
from tests.api.conftest import V1
from tests.api.tapes_to_read import ORCHARD, hex_tape, text_tape

TAPE = text_tape(ORCHARD)
SHA = hashlib.sha256(TAPE).hexdigest()

NEW_TAPE = {
    "title": "Orchard",
    "accession_number": "1978.12",
    "origin": "Gift of a school",
    "medium": "oiled paper",
    "levels": 8,
    "place": "Cabinet 2",
    "made": "1978~",
    "colour": "yellow",
    "form": "fanfold",
    "measured_width_mm": 25.4,
    "measured_length_m": 28.5,
    "inscriptions": "ORCHARD\nnot the good one",
    "acquired_from": "The school",
    "acquired_how": "gift",
    "acquired_on": "1979",
}
RIGHTS = {
    "acquisition_note": "They want it back if we close.",
    "rights_uri": "http://rightsstatements.org/vocab/NKC/1.0/",
    "licence": "CC0-1.0 OR LicenseRef-Orchard",
    "access": "public",
}
NEW_PROGRAM = {"title": "Orchard count", "language": "BASIC", "rights": "Ours to share"}
NEW_REPORT = {
    "tape": "1978.12",
    "checked_on": "2026-05-04",
    "state": "worn",
    "reason": "entry",
    "method": "light table",
    "defects": [
        {
            "kind": "torn edge",
            "severity": "slight",
            "extent": "one place",
            "position_mm": 120.5,
            "length_mm": 30.0,
            "note": "left",
        }
    ],
    "machine_readable": True,
    "advice": "Let it run slowly.",
    "handling": "no sprocket or pins",
    "action": "punch a copy",
    "urgency": "soon",
    "next_check": "2027-05-04",
}

NOT_FOR_VISITORS = {"acquired_from", "acquisition_note"}

KINDS = [
    pytest.param("tapes", NEW_TAPE | RIGHTS, {"place": "Cabinet 3"}, id="tapes"),
    pytest.param("programs", NEW_PROGRAM, {"machine": "8080 machine"}, id="programs"),
    pytest.param("condition-reports", NEW_REPORT, {"advice": "By hand."}, id="condition-reports"),
]


@pytest.fixture
def shelf(archivist):
    """An archivist, with what a report needs already there."""

    def make(kind, body):
        if kind == "condition-reports":
            assert archivist.post(f"{V1}/tapes", json=NEW_TAPE).status_code == 201
        return archivist.post(f"{V1}/{kind}", json=body)

    return make


@pytest.mark.parametrize(("kind", "body", "change"), KINDS)
def test_a_record_is_made_at_an_address_that_gives_it(shelf, visitor, kind, body, change):
    made = shelf(kind, body)

    assert made.status_code == 201
    assert made.json() | body == made.json()
    assert made.headers["ETag"] == '"1"'
    assert made.headers["Location"].startswith(f"{V1}/{kind}/")
    got = visitor.get(made.headers["Location"])
    hidden = dict.fromkeys(NOT_FOR_VISITORS & made.json().keys())
    hidden |= {"by": SOMEBODY} if "by" in made.json() else {}
    assert (made.json() | hidden, '"1"') == (got.json(), got.headers["ETag"])


@pytest.mark.parametrize(("kind", "body", "change"), KINDS)
def test_a_change_against_the_current_revision_is_made(shelf, archivist, kind, body, change):
    made = shelf(kind, body)
    where = made.headers["Location"]
    changed = archivist.patch(where, json=change, headers={"If-Match": made.headers["ETag"]})

    assert changed.status_code == 200
    assert changed.headers["ETag"] == '"2"'
    assert body | change | changed.json() == changed.json()
    assert changed.json() == archivist.get(where).json()


@pytest.mark.parametrize(("kind", "body", "change"), KINDS)
def test_a_change_against_an_older_revision_is_refused(shelf, archivist, kind, body, change):
    where = shelf(kind, body).headers["Location"]
    archivist.patch(where, json=change, headers={"If-Match": '"1"'})
    stale = archivist.patch(where, json=change, headers={"If-Match": '"1"'})

    assert (
        stale.status_code, stale.json()["code"], stale.json()["revision"]
    ) == (412, "stale-revision", 2)  # fmt: skip
    assert archivist.get(where).headers["ETag"] == '"2"'


@pytest.mark.parametrize(("kind", "body", "change"), KINDS)
def test_a_change_must_name_its_revision_but_may_take_any(shelf, archivist, kind, body, change):
    where = shelf(kind, body).headers["Location"]
    without = archivist.patch(where, json=change)

    assert (without.status_code, without.json()["where"]) == (428, "If-Match")
    assert archivist.patch(where, json=change, headers={"If-Match": "*"}).status_code == 200


@pytest.mark.parametrize(("kind", "body", "change"), KINDS)
def test_a_field_that_there_is_not_is_refused(shelf, archivist, kind, body, change):
    where = shelf(kind, body).headers["Location"]
    made = archivist.post(f"{V1}/{kind}", json=body | {"smell": "of lamp oil"})
    changed = archivist.patch(where, json={"smell": "of lamp oil"}, headers={"If-Match": "*"})

    for answer in (made, changed):
        assert answer.status_code == 422
        assert answer.json()["errors"] == [{"field": "smell", "detail": "there is no such field"}]


@pytest.mark.parametrize(("kind", "body", "change"), KINDS)
def test_what_is_missing_is_named(archivist, kind, body, change):
    answer = archivist.post(f"{V1}/{kind}", json={})

    assert answer.status_code == 422
    assert {"title" if kind != "condition-reports" else "tape"} <= {
        each["field"] for each in answer.json()["errors"]
    }


@pytest.mark.parametrize(("kind", "body", "change"), KINDS)
def test_a_record_that_there_is_not_is_not_found(visitor, kind, body, change):
    missing = {"tapes": "1901.1"}.get(kind, "99")

    assert visitor.get(f"{V1}/{kind}/{missing}").status_code == 404


@pytest.mark.parametrize("kind", ["tapes", "programs", "condition-reports"])
def test_a_list_is_cut_in_pages_that_link_to_each_other(archivist, visitor, kind):
    for number in range(5):
        archivist.post(f"{V1}/tapes", json={"title": f"Reel {number}"})
        archivist.post(f"{V1}/programs", json={"title": f"Program {number}"})
    first = archivist.get(f"{V1}/tapes").json()["items"][0]["accession_number"]
    for _ in range(5):
        archivist.post(f"{V1}/condition-reports", json=NEW_REPORT | {"tape": first})

    seen, relations, pages, url = [], set(), 0, f"{V1}/{kind}?page_size=2"
    while url:
        answer = visitor.get(url)
        assert (answer.json()["total"], answer.json()["pages"]) == (5, 3)
        seen += [str(item) for item in answer.json()["items"]]
        pages += 1
        relations |= set(answer.links)
        url = answer.links.get("next", {}).get("url")

    assert (pages, len(set(seen))) == (3, 5)
    assert relations == {"first", "prev", "next", "last"}


def test_tapes_are_chosen_by_several_values_of_a_field(archivist, visitor):
    for medium in ("paper", "polyester", "unknown"):
        archivist.post(f"{V1}/tapes", json={"title": f"On {medium}", "medium": medium})
    answer = visitor.get(f"{V1}/tapes?medium=paper&medium=polyester")

    assert {"paper", "polyester"} == {item["medium"] for item in answer.json()["items"]}


@pytest.mark.parametrize("query", ["page=0", "page=x", "page_size=1000", "colour=blue"])
@pytest.mark.parametrize("kind", ["tapes", "programs", "condition-reports"])
def test_a_query_that_makes_no_sense_is_refused(visitor, kind, query):
    answer = visitor.get(f"{V1}/{kind}?{query}")

    assert answer.status_code == 422
    assert [query.partition("=")[0]] == [each["field"] for each in answer.json()["errors"]]


def test_a_number_that_is_taken_is_refused(volunteer):
    volunteer.post(f"{V1}/tapes", json=NEW_TAPE)
    again = volunteer.post(f"{V1}/tapes", json=NEW_TAPE)

    assert (again.status_code, again.json()["code"]) == (409, "conflict")


def test_a_tape_without_a_number_is_given_one(volunteer):
    made = volunteer.post(f"{V1}/tapes", json={"title": "Unlabelled"})

    assert made.json()["accession_number"] in made.headers["Location"]


def test_an_image_held_is_put_to_a_tape(volunteer):
    volunteer.post(f"{V1}/tapes", json=NEW_TAPE)
    volunteer.post(f"{V1}/images", files={"file": ("reel.bin", TAPE)})
    tape = volunteer.put(f"{V1}/tapes/1978.12/images/{SHA}").json()

    assert tape["image"]["sha256"] == SHA
    assert tape["width_mm"] == 25.4
    assert volunteer.get(f"{V1}/tapes").json()["items"][0]["format"] == "text"


def test_a_version_names_the_image_that_is_punched_from(archivist, visitor):
    data = hex_tape()
    sha256 = hashlib.sha256(data).hexdigest()
    archivist.post(f"{V1}/images", files={"file": ("reel.bin", data)})
    program = archivist.post(f"{V1}/programs", json=NEW_PROGRAM)
    where = program.headers["Location"]
    made = archivist.post(f"{where}/versions", json={"label": "first", "sha256": sha256})

    assert made.status_code == 201
    version = visitor.get(where).json()["versions"][0]
    assert ("first", sha256, "self-checked") == (
        version["label"], version["sha256"], version["verification"]
    )  # fmt: skip
    assert visitor.get(f"{V1}/images/{sha256}").json()["versions"][0]["label"] == "first"


def test_mould_puts_a_tape_in_quarantine_until_it_is_released(volunteer, archivist):
    volunteer.post(f"{V1}/tapes", json=NEW_TAPE)
    volunteer.post(f"{V1}/condition-reports", json=NEW_REPORT | {"hazard": "mould suspected"})
    held_apart = volunteer.get(f"{V1}/tapes/1978.12").json()

    assert held_apart["quarantined"]
    assert "conservator" in held_apart["cautions"]
    release = {"note": "Looked at by the conservator of the county."}
    assert volunteer.post(f"{V1}/tapes/1978.12/release", json=release).status_code == 403
    volunteer.post(f"{V1}/condition-reports", json=NEW_REPORT)
    released = archivist.post(f"{V1}/tapes/1978.12/release", json=release)
    assert (released.status_code, released.json()["quarantined"]) == (200, False)


WRITES = [
    ("POST", "/tapes/1978.12/deaccessions"),
    ("POST", "/tapes/1978.12/reaccession"),
    ("POST", "/images"),
    ("PUT", f"/images/{SHA}/sheet"),
    ("POST", f"/images/{SHA}/proof-readings"),
    ("POST", f"/images/{SHA}/family/decisions"),
    ("GET", "/work/kin-pass"),
    ("POST", "/work/kin-pass"),
    ("DELETE", "/work/kin-pass"),
    ("GET", "/work/fixity-audit"),
    ("POST", "/work/fixity-audit"),
    ("DELETE", "/work/fixity-audit"),
    ("GET", "/queues/mine"),
    ("PUT", "/queues/unread/mine/1"),
    ("DELETE", "/queues/unread/mine/1"),
    ("POST", "/tapes"),
    ("PATCH", "/tapes/1978.12"),
    ("PUT", f"/tapes/1978.12/images/{SHA}"),
    ("POST", "/tapes/1978.12/release"),
    ("POST", "/tapes/1978.12/photos"),
    ("PUT", "/photos/1/shows"),
    ("DELETE", "/photos/1"),
    ("PUT", "/tapes/1978.12/running/permission"),
    ("DELETE", "/tapes/1978.12/running/permission"),
    ("POST", "/programs"),
    ("PATCH", "/programs/1"),
    ("POST", "/programs/1/versions"),
    ("PUT", "/programs/1/versions/1/sheet"),
    ("POST", "/programs/1/links"),
    ("DELETE", "/programs/1/links/1"),
    ("POST", "/programs/1/merge"),
    ("POST", "/programs/1/split"),
    ("PATCH", "/programs/1/versions/1"),
    ("GET", "/history?kind=program&key=1"),
    ("POST", "/history/1/undo"),
    ("POST", "/vocabularies/language/words"),
    ("PATCH", "/vocabularies/language/words/1"),
    ("POST", "/condition-reports"),
    ("PATCH", "/condition-reports/1"),
    ("POST", "/punchings"),
    ("GET", "/punchings/1/frames"),
    ("POST", "/punchings/1/punched"),
    ("POST", "/punchings/1/read-backs"),
    ("POST", "/punchings/1/again"),
    ("POST", "/punchings/1/give-up"),
    ("GET", "/tokens"),
    ("POST", "/merged-readings"),
    ("POST", "/merged-readings/1/settlements"),
    ("DELETE", "/tokens/1"),
]

BODIES = {
    "/tapes/1978.12/deaccessions": {
        "decided_on": "2026-05-04",
        "authority": "Meeting of May",
        "reason": "We have two more.",
        "method": "given away",
    },
    "/tapes/1978.12/reaccession": {"why": "It was given back."},
    "/tapes": NEW_TAPE,
    "/tapes/1978.12": {"place": "x"},
    "/tapes/1978.12/release": {"note": "x"},
    "/photos/1/shows": {"shows": "x"},
    "/tapes/1978.12/running/permission": {"reason": "x"},
    "/programs": NEW_PROGRAM,
    "/programs/1": {"memory": "x"},
    "/programs/1/versions": {"label": "x", "sha256": SHA},
    "/programs/1/links": {"kind": "uses", "other": 2},
    "/programs/1/merge": {"into": 2},
    "/programs/1/split": {"title": "x", "versions": [1]},
    "/programs/1/versions/1": {"note": "x"},
    "/history/1/undo": {"note": "x"},
    "/vocabularies/language/words": {"word": "x"},
    "/vocabularies/language/words/1": {"meaning": "x"},
    "/merged-readings": {"readings": [1, 2]},
    "/merged-readings/1/settlements": {"column": 0, "ruling": "no-frame", "note": "x"},
    "/condition-reports": NEW_REPORT,
    "/condition-reports/1": {"advice": "x"},
    f"/images/{SHA}/proof-readings": {"note": "x"},
    "/punchings": {"image": SHA},
    "/punchings/1/punched": {"medium": "paper"},
    "/punchings/1/give-up": {},
    f"/images/{SHA}/sheet": {"steps": "x"},
    "/programs/1/versions/1/sheet": {"steps": "x"},
    f"/images/{SHA}/family/decisions": {"kind": "apart"},
}


@pytest.mark.parametrize(("method", "path"), WRITES)
def test_a_visitor_is_asked_to_sign_in_for_whatever_changes_something(visitor, method, path):
    answer = visitor.request(method, V1 + path, json=BODIES.get(path), headers={"If-Match": '"1"'})

    assert (answer.status_code, answer.json()["code"]) == (401, "not-signed-in")
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")


def test_the_routes_that_change_something_are_all_tried_above(app):
    described = app.state.describe_api()["paths"]
    changing = {
        (method.upper(), path)
        for path, item in described.items()
        for method, told in item.items()
        if "security" in told
    }

    assert len(WRITES) == len(changing)
