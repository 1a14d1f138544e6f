"""Who calls: tokens, and the cookie of a browser with its secret."""

import pytest

from server.catalog import people
from server.catalog.work import unit_of_work
from tests.api.conftest import PASSWORD, V1

GOOD = {"name": "volunteer-1", "password": PASSWORD, "label": "reader at the desk"}


def test_a_name_and_its_password_give_a_token_that_acts_for_the_person(visitor):
    issued = visitor.post(f"{V1}/tokens", json=GOOD)

    assert issued.status_code == 201
    assert issued.headers["Cache-Control"] == "no-store"
    me = visitor.get(f"{V1}/me", headers={"Authorization": f"Bearer {issued.json()['token']}"})
    assert me.json() == {"name": "Volunteer", "role": "volunteer"}


def test_no_cache_gives_the_answer_for_one_person_to_another(volunteer):
    assert volunteer.get(f"{V1}/me").headers["Cache-Control"] == "private, no-cache"


def test_who_does_not_sign_in_is_a_visitor(visitor):
    assert visitor.get(f"{V1}/me").json() == {"name": "visitor", "role": "visitor"}


@pytest.mark.parametrize("wrong", [{"password": "another long phrase"}, {"name": "nobody"}])
def test_a_wrong_name_and_a_wrong_password_are_refused_alike(visitor, wrong):
    answer = visitor.post(f"{V1}/tokens", json=GOOD | wrong)

    assert (answer.status_code, answer.json()["code"]) == (401, "sign-in-refused")
    assert "Bearer" in answer.headers["WWW-Authenticate"]
    assert answer.json()["detail"] == "Name and password do not belong together."


def test_a_guesser_must_wait(visitor):
    for _ in range(5):
        visitor.post(f"{V1}/tokens", json=GOOD | {"password": "a guess of some length"})
    answer = visitor.post(f"{V1}/tokens", json=GOOD)

    assert (answer.status_code, answer.json()["code"]) == (429, "too-many-attempts")
    assert int(answer.headers["Retry-After"]) >= 1


@pytest.mark.parametrize("sent", ["Bearer nonsense", "Bearer ", "Basic dm9sOnBhc3M=", "nonsense"])
def test_a_token_that_stands_for_nobody_is_refused_even_for_reading(visitor, sent):
    answer = visitor.get(f"{V1}/tapes", headers={"Authorization": sent})

    assert (answer.status_code, answer.json()["where"]) == (401, "Authorization")


def test_a_revoked_token_is_refused(visitor, volunteer):
    issued = visitor.post(f"{V1}/tokens", json=GOOD).json()["token"]
    own = volunteer.get(f"{V1}/tokens").json()

    assert [each["label"] for each in own] == ["reader at the desk", "tests"]
    assert volunteer.delete(f"{V1}/tokens/{own[0]['id']}").status_code == 204
    headers = {"Authorization": f"Bearer {issued}"}
    assert visitor.get(f"{V1}/me", headers=headers).status_code == 401


def test_nobody_revokes_the_token_of_somebody_else(volunteer, archivist):
    theirs = archivist.get(f"{V1}/tokens").json()[0]["id"]

    assert volunteer.delete(f"{V1}/tokens/{theirs}").status_code == 404


@pytest.fixture
def browser(app, visitor):
    """A browser that is signed in, and the secret of its sign-in."""
    with unit_of_work(app.state.engine) as work:
        session = people.sign_in(work, "volunteer-1", PASSWORD)
    visitor.cookies.set("feedhole", session.token)
    return visitor, session.csrf


def test_the_cookie_of_a_browser_is_enough_to_read(browser):
    client, _ = browser

    assert client.get(f"{V1}/me").json()["role"] == "volunteer"


def test_a_change_by_cookie_needs_the_secret_of_the_sign_in(browser):
    from server.delivery.forgery import masked

    client, secret = browser
    new = {"title": "Orchard"}

    for headers in ({}, {"X-CSRF-Token": "00"}, {"X-CSRF-Token": masked("another")}):
        refused = client.post(f"{V1}/tapes", json=new, headers=headers)
        assert (refused.status_code, refused.json()["code"]) == (403, "not-from-here")
    made = client.post(f"{V1}/tapes", json=new, headers={"X-CSRF-Token": masked(secret)})
    assert made.status_code == 201


def test_a_change_by_cookie_from_another_site_is_refused(browser):
    from server.delivery.forgery import masked

    client, secret = browser
    headers = {"X-CSRF-Token": masked(secret), "Sec-Fetch-Site": "cross-site"}

    assert client.post(f"{V1}/tapes", json={"title": "x"}, headers=headers).status_code == 403


def test_a_cookie_that_ended_reads_as_a_visitor(visitor):
    visitor.cookies.set("feedhole", "old")

    assert visitor.get(f"{V1}/me").json()["role"] == "visitor"
