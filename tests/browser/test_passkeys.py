"""A passkey is added and used in chromium, with the virtual authenticator of its protocol.

W3C Web Authentication, level 2, section 11 (user agent automation) describes such a one.
"""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from server.catalog.published import PASSWORD
from tests.browser.conftest import WIDTHS, sign_in

NAME = "key on the ring"


@pytest.fixture
def site(own_site: str) -> str:
    """Under a name: no passkey is for a mere number."""
    return own_site.replace("127.0.0.1", "localhost")


def given_a_key(page: Page, **otherwise: Any) -> None:
    """Put a key into the machine that recognises its person at once."""
    protocol = page.context.new_cdp_session(page)
    protocol.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2", "transport": "internal", "hasResidentKey": True,
        "hasUserVerification": True, "isUserVerified": True, "automaticPresenceSimulation": True,
    }  # fmt: skip
    protocol.send("WebAuthn.addVirtualAuthenticator", {"options": options | otherwise})


def add_a_key(page: Page, password: str = PASSWORD) -> None:
    page.goto("/account")
    page.get_by_label("What you call it").fill(NAME)
    page.get_by_label("Your password").fill(password)
    page.get_by_role("button", name="Add a passkey").click()


def test_a_person_adds_a_key_and_signs_in_with_it(open_page):
    page = open_page(WIDTHS["telephone"])
    given_a_key(page)
    sign_in(page)
    add_a_key(page)
    keys = page.get_by_role("region", name="Passkeys")
    expect(keys).to_contain_text(f"{NAME}, for localhost, added")
    page.get_by_role("button", name="Sign out").click()
    page.goto("/sign-in?next=/queues/mine")
    page.get_by_role("button", name="Use a passkey instead").click()

    expect(page.get_by_role("heading", level=1)).to_contain_text("Your list")
    page.goto("/account")
    expect(keys).to_contain_text("last used")
    keys.get_by_role("button", name=f"Remove {NAME}").click()
    expect(keys).not_to_contain_text("last used")


def test_a_key_needs_the_password_and_a_person_whom_it_recognises(open_page):
    page = open_page(WIDTHS["desk"], complaints_about=422)
    given_a_key(page, isUserVerified=False)
    sign_in(page)
    add_a_key(page, "not the password of odile")
    keys = page.get_by_role("region", name="Passkeys")
    expect(keys.get_by_role("status")).to_contain_text("The password is wrong")
    add_a_key(page)
    expect(keys.get_by_role("status")).to_contain_text("No passkey was given")
