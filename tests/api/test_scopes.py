"""What a token may be used for: every route asks for a scope, and refuses a token without it."""

from typing import Any, NamedTuple

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.api.scopes import scope_of
from server.catalog import scopes, tokens
from server.catalog.scopes import Scope
from server.catalog.work import Role, unit_of_work
from tests.api.conftest import PASSWORD, V1

SAMPLES = {"integer": "1", "string": "0" * 64}


class Route(NamedTuple):
    """A route of the description, an address of it, and whether it takes JSON or a form."""

    method: str
    path: str
    address: str
    takes: str


def routes(app: FastAPI) -> list[Route]:
    """Every route of the API but the one that asks for a password instead."""
    found = []
    for path, item in app.state.describe_api()["paths"].items():
        for method, told in item.items():
            kinds = {
                each["name"]: each["schema"].get("type", "string")
                for each in told.get("parameters", ())
                if each["in"] == "path"
            }
            address = path
            for name, kind in kinds.items():
                address = address.replace(f"{{{name}}}", SAMPLES[kind])
            takes = "".join(told.get("requestBody", {}).get("content", {}))
            found.append(Route(method.upper(), path, address, takes))
    return [each for each in found if each[:2] != ("POST", f"{V1}/tokens")]


def token_for(app: FastAPI, allowed: Any) -> dict[str, str]:
    """The header of a token of an administrator with just those scopes."""
    with unit_of_work(app.state.engine) as work:
        from server.catalog.people import sign_in

        own = work.acting_as(sign_in(work, f"{Role.ADMINISTRATOR}-1", PASSWORD).actor)
        issued = tokens.issue(own, "a few things", allowed=allowed)
    return {"Authorization": f"Bearer {issued}"}


def code_of(client: TestClient, route: Route, headers: dict[str, str]) -> str:
    sent: dict[str, Any] = {"json": {}} if "json" in route.takes else {}
    if "form" in route.takes:
        sent = {"files": {"file": ("x.bin", b"x")}}
    answer = client.request(route.method, route.address, headers=headers, **sent)
    kind = answer.headers.get("content-type", "")
    return answer.json()["code"] if kind == "application/problem+json" else ""


def test_no_route_is_reached_without_its_scope_and_each_with_it(app):
    """Deny by default: each route is tried with all scopes but its own, and with its own only."""
    client = TestClient(app, raise_server_exceptions=False)
    lacking = {scope: token_for(app, scopes.ALL - {scope}) for scope in Scope}
    having = {scope: token_for(app, {scope}) for scope in Scope}
    wrong = []
    for route in routes(app):
        needed = scope_of(route.method, route.path.removeprefix(V1))
        without = code_of(client, route, lacking[needed])
        within = code_of(client, route, having[needed])
        if without != "insufficient-scope" or within == "insufficient-scope":
            wrong.append((route, needed, without, within))

    assert len(routes(app)) > 60
    assert wrong == []


@pytest.mark.parametrize(
    ("method", "path", "needed"),
    [
        ("GET", "/tapes", Scope.READ),
        ("POST", "/images", Scope.UPLOAD),
        ("POST", "/images/{sha256}/proof-readings", Scope.KEEP),
        ("PUT", "/images/{sha256}/sheet", Scope.DESCRIBE),
        ("PATCH", "/tapes/{number}", Scope.DESCRIBE),
        ("POST", "/tapes/{number}/release", Scope.KEEP),
        ("POST", "/punchings/{punching_id}/read-backs", Scope.PUNCH),
        ("DELETE", "/tokens/{token_id}", Scope.ACCOUNT),
        ("POST", "/search/by-example", Scope.READ),
        ("POST", "/what-nobody-listed", Scope.KEEP),
    ],
)
def test_each_change_has_its_scope_and_what_nobody_listed_the_furthest(method, path, needed):
    assert scope_of(method, path) is needed


def test_who_lacks_a_scope_is_told_which(app, visitor):
    headers = token_for(app, {Scope.READ})
    answer = visitor.post(f"{V1}/tapes", json={"title": "x"}, headers=headers)

    assert (answer.status_code, answer.json()["code"]) == (403, "insufficient-scope")
    assert 'error="insufficient_scope", scope="describe"' in answer.headers["WWW-Authenticate"]


def test_a_token_is_issued_for_the_scopes_that_are_asked_for(visitor):
    given = {"name": "volunteer-1", "password": PASSWORD, "scopes": ["upload", "read"], "days": 3}
    issued = visitor.post(f"{V1}/tokens", json=given).json()
    headers = {"Authorization": f"Bearer {issued['token']}"}
    (told, _) = visitor.get(f"{V1}/tokens", headers=headers).json()

    assert issued["scopes"] == told["scopes"] == ["read", "upload"]
    assert told["expires"] is not None


@pytest.mark.parametrize("wrong", [[], ["everything"]])
def test_scopes_that_are_none_are_refused(visitor, wrong):
    given = {"name": "volunteer-1", "password": PASSWORD, "scopes": wrong}
    answer = visitor.post(f"{V1}/tokens", json=given)

    assert (answer.status_code, answer.json()["code"]) == (422, "invalid")
