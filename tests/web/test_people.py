"""People come by invitation, see where they are signed in, and say whether they are named."""

import re

import pytest

from server.catalog.work import Role
from tests.web.library import PASSWORD

PHONE = {"User-Agent": "the phone of Pat"}


@pytest.fixture
def link(administrator):
    """The path of an invitation just made."""
    page = administrator.fill_in(
        "/people/invitations", seen_at="/people", role="archivist", note="Wren", days="3"
    )
    (address,) = re.findall(r'<code class="digest">([^<]+)</code>', page.text)
    assert address.startswith("http://testserver/invitations/")
    return address.removeprefix("http://testserver")


def test_somebody_invited_comes_in_and_the_link_is_used_up(link, visitor, client_of, administrator):
    answer = visitor.fill_in(
        link, name="wren", display_name="Wren Ottery", password="seven copper lanterns"
    )
    account = visitor.get("/account").text

    assert (answer.status_code, answer.headers["location"]) == (303, "/account")
    assert "You are <b>Wren Ottery</b>, archivist" in account
    assert "No longer show my name" not in account
    assert client_of(Role.VISITOR).get(link).status_code == 404
    told = administrator.get("/people").text
    assert link not in told, "it is shown once"
    assert "<b>Wren</b>, as archivist: used by Wren Ottery" in told


def test_a_newcomer_who_is_refused_keeps_what_was_typed(link, visitor):
    refused = visitor.fill_in(link, name="wren", display_name="Wren", password="short")
    taken = visitor.fill_in(link, name="volunteer-1", password="seven copper lanterns")

    assert (refused.status_code, taken.status_code) == (422, 409)
    assert 'value="wren"' in refused.text
    assert "at least 15" in refused.text


def test_an_invitation_can_be_withdrawn(link, visitor, administrator):
    (withdraw,) = re.findall(r"/people/invitations/\d+/withdraw", administrator.get("/people").text)
    administrator.fill_in(withdraw, seen_at="/people")

    assert visitor.get(link).status_code == 404
    assert "leads nowhere" in visitor.get(link).text
    assert ": withdrawn" in administrator.get("/people").text


def test_an_account_that_is_refused_leaves_what_is_proposed_for_an_invitation(administrator):
    refused = administrator.fill_in("/people", name="wren", role="volunteer", password="short")
    days = re.search(r'<input id="days"[^>]*>', refused.text)

    assert refused.status_code == 422
    assert days is not None
    assert 'value="7"' in days[0]


@pytest.mark.parametrize("path", ["/people", "/people/1"])
def test_only_administrators_see_the_people(path, archivist, visitor):
    assert archivist.get(path).status_code == 403
    assert visitor.get(path).status_code == 303


def test_the_consent_switch_decides_what_visitors_read(volunteer, visitor):
    report = {"checked_on": "2026-11-20", "state": "good", "reason": "schedule", "method": "by eye"}
    volunteer.fill_in("/tapes/1979.1/condition/new", **report)
    name, page = "Pat the volunteer", "/tapes/1979.1/condition"

    assert name in volunteer.get(page).text
    assert name not in visitor.get(page).text
    volunteer.fill_in("/account/named", seen_at="/account", named="yes")
    assert name in visitor.get(page).text
    volunteer.fill_in("/account/named", seen_at="/account", named="no")
    assert name not in visitor.get(page).text
    assert "a volunteer" in visitor.get(page).text


def test_a_sign_in_elsewhere_is_told_and_can_be_ended(volunteer, visitor):
    visitor.fill_in("/sign-in", name="volunteer-1", password=PASSWORD, headers=PHONE)
    page = volunteer.get("/account").text
    (end,) = re.findall(r"/account/sign-ins/\d+/end", page)

    assert "the phone of Pat" in page
    volunteer.fill_in(end, seen_at="/account")
    assert "the phone of Pat" not in volunteer.get("/account").text
    assert visitor.get("/account").status_code == 303


def test_all_other_sign_ins_are_ended_together(volunteer, visitor):
    visitor.fill_in("/sign-in", name="volunteer-1", password=PASSWORD, headers=PHONE)
    volunteer.fill_in("/account/sign-ins/others/end", seen_at="/account")

    assert visitor.get("/account").status_code == 303
    assert volunteer.get("/account").status_code == 200


def test_shutting_somebody_out_ends_their_sign_in_at_once(administrator, volunteer):
    (path,) = re.findall(
        r'<a href="(/people/\d+)">Pat the volunteer</a>', administrator.get("/people").text
    )
    assert volunteer.get("/account").status_code == 200
    administrator.fill_in(path, change="disable")

    assert volunteer.get("/account").status_code == 303


@pytest.mark.parametrize("number", [2**31, 2**70])
@pytest.mark.parametrize(
    "path",
    [
        "/account/tokens/{}/revoke",
        "/account/sign-ins/{}/end",
        "/account/passkeys/{}",
        "/people/{}",
        "/people/invitations/{}/withdraw",
    ],
)
def test_a_number_too_large_for_any_database_is_that_of_nothing(path, number, administrator):
    answer = administrator.fill_in(path.format(number), seen_at="/account", change="remove")

    assert answer.status_code == 404
    assert f" {number}." in answer.text
