"""Every way to fail has one shape."""

import logging

import pytest
from sqlalchemy.exc import OperationalError

from server.catalog import images, tapes
from tests.api.conftest import V1

MEMBERS = {"type", "title", "status", "detail", "instance", "code", "where", "mend", "errors"}
JSON = {"Content-Type": "application/json"}

FAILURES = [
    ("GET", "/api/", {}, 404, "unknown-route"),
    ("GET", "/api/v2/images", {}, 404, "unknown-route"),
    ("GET", f"{V1}/nothing/here", {}, 404, "unknown-route"),
    ("POST", "/api/v1", {}, 404, "unknown-route"),
    ("DELETE", f"{V1}/tapes", {}, 405, "method-not-allowed"),
    ("TRACE", f"{V1}/tapes", {}, 405, "method-not-allowed"),
    ("PUT", f"{V1}/images/{'0' * 64}", {}, 405, "method-not-allowed"),
    ("GET", f"{V1}/images/{'0' * 64}", {}, 404, "not-found"),
    ("GET", f"{V1}/programs/none", {}, 422, "invalid"),
    ("GET", f"{V1}/programs/99999999999999999999", {}, 422, "invalid"),
    ("POST", f"{V1}/tokens", {"content": b"{", "headers": JSON}, 400, "malformed"),
    ("POST", f"{V1}/tokens", {"content": b"\xff", "headers": JSON}, 400, "malformed"),
    ("POST", f"{V1}/tokens", {"content": b"name=a", "headers": {"Content-Type": "text/plain"}},
     415, "wrong-media-type"),
    ("POST", f"{V1}/tokens", {"json": []}, 422, "invalid"),
    ("POST", f"{V1}/tokens", {}, 422, "invalid"),
    ("POST", f"{V1}/tokens", {"json": {"name": "a" * 2_000_000}}, 413, "too-large"),
]  # fmt: skip


@pytest.mark.parametrize(("method", "path", "sent", "status", "code"), FAILURES)
def test_a_failure_is_a_problem_document(visitor, method, path, sent, status, code):
    answer = visitor.request(method, path, **sent)
    body = answer.json()

    assert status == answer.status_code == body["status"]
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.headers["Cache-Control"] == "no-store"
    assert code == body["code"]
    assert f"/help/problems#{code}" == body["type"]
    assert set(body) >= MEMBERS
    assert path == body["instance"]
    assert all(body[name] for name in ("title", "detail", "mend"))


def test_a_method_that_is_not_allowed_names_those_that_are(visitor):
    assert "GET" in visitor.delete(f"{V1}/search").headers["Allow"]


def test_an_address_with_a_slash_too_many_leads_to_the_right_one(visitor):
    assert visitor.get(f"{V1}/tapes/").status_code == 200


def test_each_field_that_cannot_be_taken_is_named_with_a_way_to_mend_it(visitor):
    body = visitor.post(f"{V1}/tokens", json={"label": "x" * 300, "colour": "blue"}).json()

    assert {"name", "password", "label", "colour"} == {each["field"] for each in body["errors"]}
    assert all(each["detail"] for each in body["errors"])
    assert "x" * 300 not in str(body)


def test_a_fault_of_ours_is_logged_under_the_reference_and_not_told(visitor, monkeypatch, caplog):
    def fail(work, sha256):
        raise RuntimeError("a secret of the house")

    monkeypatch.setattr(images, "get", fail)
    with caplog.at_level(logging.ERROR, logger="server.api.problems"):
        answer = visitor.get(f"{V1}/images/{'0' * 64}")
    body = answer.json()

    assert (answer.status_code, body["code"]) == (500, "internal")
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert [body["reference"]] == [
        word.strip(":") for record in caplog.records for word in record.getMessage().split()[1:2]
    ]
    assert "a secret of the house" in caplog.text


def test_a_busy_database_asks_to_come_again(visitor, monkeypatch):
    def fail(work, query):
        raise OperationalError("SELECT", {}, Exception("database is locked"))

    monkeypatch.setattr(tapes, "page", fail)
    answer = visitor.get(f"{V1}/tapes")

    assert (answer.status_code, answer.json()["code"]) == (503, "unavailable")
    assert int(answer.headers["Retry-After"]) >= 1
    assert "locked" not in answer.text


def test_pages_outside_the_api_do_not_fail_as_documents(visitor):
    assert "json" not in visitor.get("/nothing-here").headers["Content-Type"]
