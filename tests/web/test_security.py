"""What keeps the pages safe: headers, cookies, forms that cannot be forged, no open doors."""

import re

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.catalog.work import Role
from server.settings import Settings
from server.web.visit import own_path
from tests.web.library import PASSWORD

CHANGES = [
    "/tapes/new",
    "/tapes/1979.1/edit",
    "/tapes/1979.1/condition/new",
    "/tapes/1979.3/release",
    "/programs/new",
    "/upload",
    "/sign-out",
    "/account/password",
    "/account/tokens",
    "/account/named",
    "/account/passkeys",
    "/account/passkeys/options",
    "/sign-in/passkey",
    "/sign-in/passkey/options",
    "/account/sign-ins/others/end",
    "/people/invitations",
    "/people",
    "/appearance",
]


@pytest.mark.parametrize("path", ["/", "/nowhere", "/static/site.css", "/api/v1/tapes", "/sign-in"])
def test_every_answer_carries_the_headers(path, visitor):
    headers = visitor.get(path).headers
    policy = headers["Content-Security-Policy"]

    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


def test_over_tls_cookies_are_bound_to_the_host_and_the_browser_stays_on_tls(library):
    settings = Settings(database_url=f"sqlite:///{library.path}", secure_cookies=True)
    with TestClient(create_app(settings), base_url="https://archive.example") as client:
        response = client.get("/sign-in")

    cookie = response.headers["set-cookie"]
    assert cookie.startswith("__Host-feedhole-form=")
    assert all(part in cookie for part in ("Secure", "HttpOnly", "SameSite=lax", "Path=/"))
    assert "Domain" not in cookie
    assert "max-age=31536000" in response.headers["Strict-Transport-Security"]


def test_the_cookie_of_a_sign_in_is_out_of_reach_of_scripts(visitor):
    response = visitor.fill_in("/sign-in", name="volunteer-1", password=PASSWORD, next="/tapes")
    cookie = response.headers["set-cookie"]

    assert (response.status_code, response.headers["location"]) == (303, "/tapes")
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie


@pytest.mark.parametrize("path", CHANGES)
def test_a_change_without_the_secret_of_the_form_is_refused(path, administrator):
    response = administrator.post(path, data={"title": "forged", "name": "x", "label": "x"})

    assert response.status_code == 403
    assert "not-from-here" in response.text


@pytest.mark.parametrize("path", CHANGES)
def test_a_change_sent_from_another_site_is_refused(path, administrator):
    secret = administrator.secret_of("/account")
    headers = {"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"}
    response = administrator.post(path, data={"csrf": secret}, headers=headers)

    assert response.status_code == 403


def test_the_secret_of_one_visitor_does_not_serve_another(visitor, client_of):
    secret = client_of(Role.VISITOR).secret_of("/sign-in")
    response = visitor.post(
        "/sign-in", data={"csrf": secret, "name": "volunteer-1", "password": PASSWORD}
    )

    assert response.status_code == 403


def test_the_secret_in_a_page_is_masked_anew_each_time(volunteer):
    assert volunteer.secret_of("/account") != volunteer.secret_of("/account")


def test_a_page_of_a_signed_in_person_is_not_stored_anywhere(volunteer, visitor):
    assert volunteer.get("/tapes").headers["Cache-Control"] == "no-store"
    assert visitor.get("/tapes").headers["Cache-Control"] == "private, no-cache"


@pytest.mark.parametrize(
    "path",
    ["//evil.example", "https://evil.example", "\\\\evil", "/\\evil.example", "javascript:x", ""],
)
def test_no_way_leads_to_another_site(path, visitor):
    response = visitor.fill_in("/sign-in", name="volunteer-1", password=PASSWORD, next=path)

    assert own_path(path) == "/"
    assert response.headers["location"] == "/"


def test_signing_out_ends_the_sign_in_on_the_server(volunteer):
    token = volunteer.cookies["feedhole"]
    response = volunteer.fill_in("/sign-out", seen_at="/account")
    volunteer.cookies.set("feedhole", token)

    assert response.status_code == 303
    assert volunteer.get("/account").status_code == 303


def test_a_wrong_password_says_nothing_of_which_was_wrong(visitor):
    answers = [
        visitor.fill_in("/sign-in", name=name, password="a wrong pass phrase", next="/")
        for name in ("volunteer-1", "nobody")
    ]
    said = {
        re.findall(r'<div class="refusal".*?</div>', each.text, re.DOTALL)[0] for each in answers
    }

    assert [each.status_code for each in answers] == [401, 401]
    assert len(said) == 1


def test_reading_changes_nothing(administrator, library):
    before = administrator.get("/api/v1/tapes/1979.1").text
    for path in ("/tapes/1979.1?csrf=1", "/tapes/1979.1/edit?title=Changed", "/sign-out"):
        administrator.get(path)

    assert administrator.get("/api/v1/tapes/1979.1").text == before
    assert administrator.get("/account").status_code == 200


def test_a_volunteer_cannot_do_what_an_archivist_does_even_with_a_right_form(volunteer, library):
    secret = volunteer.secret_of("/account")
    paths = [
        f"/images/{library.damaged}/proof-read",
        f"/images/{library.damaged}/version",
        "/programs/new",
        "/people",
    ]
    answers = [
        volunteer.post(path, data={"csrf": secret, "title": "x", "label": "x", "note": "x"})
        for path in paths
    ]

    assert [each.status_code for each in answers] == [403] * len(paths)
