"""Passkeys: each thing that W3C Web Authentication, level 2, asks a site to check (7.1, 7.2)."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import Engine, select

from server.catalog import accounts, passkeys, people
from server.catalog.errors import Conflict, Invalid, NotFound, SignInRefused
from server.catalog.passkeys import NewPasskey, Site
from server.catalog.work import COMMAND, Actor, Role, unit_of_work
from server.store.people import PasskeyChallenge
from tests import factories
from tests.software_key import PRESENT, SoftwareKey

SITE = Site("https://tapes.example:8443")
ELSEWHERE = Site("https://elsewhere.example")
RING = NewPasskey(name="key on the ring")

pytestmark = pytest.mark.usefixtures("quick_hashes")


@pytest.fixture
def ada(engine: Engine) -> Actor:
    return factories.person(engine, Role.ARCHIVIST, "Ada")


def new_key() -> SoftwareKey:
    return SoftwareKey(SITE.host, SITE.origin)


def offered(engine: Engine, actor: Actor, session: str = "s", site: Site = SITE) -> dict[str, Any]:
    with unit_of_work(engine, actor) as work:
        return passkeys.offer_new(work, site, session, factories.PASSWORD)


def added(engine: Engine, actor: Actor, **wrong: Any) -> SoftwareKey:
    key = new_key()
    answer = key.made(offered(engine, actor), **wrong)
    with unit_of_work(engine, actor) as work:
        passkeys.add(work, SITE, "s", RING, answer)
    return key


def wish(engine: Engine, session: str = "v", site: Site = SITE) -> dict[str, Any]:
    with unit_of_work(engine) as work:
        return passkeys.offer_sign_in(work, site, session)


def enter(engine: Engine, answer: Any, session: str = "v", site: Site = SITE) -> people.SignedIn:
    with unit_of_work(engine) as work:
        return passkeys.sign_in(work, site, session, answer)


def test_a_person_signs_in_with_a_key_that_they_added(engine, ada):
    key = added(engine, ada)
    came = enter(engine, key.used(wish(engine)))

    assert came.actor == ada
    with unit_of_work(engine) as work:
        assert people.resume(work, came.token) is not None
    with unit_of_work(engine, ada) as work:
        (told,) = passkeys.own(work)
        assert (told.name, told.site, told.used is not None) == (RING.name, SITE.host, True)
        assert (
            "passkey key on the ring added" in accounts.history(work, ada.person_id or 0)[0].detail
        )


def test_what_the_browser_is_asked_for_is_what_the_standard_has(sqlite_engine):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    first, again = offered(sqlite_engine, ada), offered(sqlite_engine, ada)
    got = wish(sqlite_engine)

    assert first["rp"]["id"] == "tapes.example"
    assert {each["alg"] for each in first["pubKeyCredParams"]} >= {-7, -257}
    assert first["authenticatorSelection"]["userVerification"] == "required"
    assert first["authenticatorSelection"]["residentKey"] == "required"
    assert (got["rpId"], got["userVerification"]) == ("tapes.example", "required")
    assert len({first["challenge"], again["challenge"], got["challenge"]}) == 3
    assert len(got["challenge"]) == 43, "256 bits in base 64"


@pytest.mark.parametrize(
    "wrong",
    [
        {"flags": PRESENT},
        {"flags": 0},
        {"origin": "https://elsewhere.example"},
        {"origin": "https://tapes.example"},
        {"origin": "http://tapes.example:8443"},
        {"host": "elsewhere.example"},
        {"kind": "webauthn.get"},
    ],
)
def test_a_new_key_is_refused_whose_answer_is_not_from_here(sqlite_engine, wrong):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    with pytest.raises(Invalid, match="could not be added"):
        added(sqlite_engine, ada, **wrong)
    with unit_of_work(sqlite_engine, ada) as work:
        assert passkeys.own(work) == ()


@pytest.mark.parametrize(
    "wrong",
    [
        {"flags": PRESENT},
        {"flags": 0},
        {"origin": "https://elsewhere.example"},
        {"origin": "https://tapes.example"},
        {"host": "elsewhere.example"},
        {"kind": "webauthn.create"},
        {"spoil": True},
        {"handle": b"feedhole 999"},
    ],
)
def test_a_sign_in_is_refused_whose_answer_does_not_hold(sqlite_engine, wrong):
    key = added(sqlite_engine, factories.person(sqlite_engine, Role.VOLUNTEER, "Ada"))

    with pytest.raises(SignInRefused):
        enter(sqlite_engine, key.used(wish(sqlite_engine), **wrong))
    assert enter(sqlite_engine, key.used(wish(sqlite_engine))).actor.name == "Ada"


def test_an_answer_serves_once_even_if_it_was_refused(engine, ada):
    key = added(engine, ada)
    asked = wish(engine)
    enter(engine, key.used(asked))
    with pytest.raises(SignInRefused):
        enter(engine, key.used(asked))
    asked = wish(engine)
    with pytest.raises(SignInRefused):
        enter(engine, key.used(asked, flags=PRESENT))
    with pytest.raises(SignInRefused):
        enter(engine, key.used(asked))


def test_an_answer_serves_only_the_session_that_was_asked(engine, ada):
    key = added(engine, ada)
    answer = key.used(wish(engine, session="one"))
    with pytest.raises(SignInRefused):
        enter(engine, answer, session="another")

    assert enter(engine, answer, session="one").actor == ada
    made = new_key().made(offered(engine, ada, session="one"))
    with unit_of_work(engine, ada) as work, pytest.raises(Invalid):
        passkeys.add(work, SITE, "another", RING, made)


def test_a_challenge_to_add_a_key_does_not_serve_to_sign_in(sqlite_engine):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    key = added(sqlite_engine, ada)
    asked = offered(sqlite_engine, ada, session="v")

    with pytest.raises(SignInRefused):
        enter(sqlite_engine, key.used(asked))


def test_a_challenge_is_too_old_after_five_minutes_and_forgotten(sqlite_engine):
    key = added(sqlite_engine, factories.person(sqlite_engine, Role.VOLUNTEER, "Ada"))
    answer = key.used(wish(sqlite_engine))
    with unit_of_work(sqlite_engine) as work:
        late = replace(work, now=work.now + passkeys.HOLDS)
        with pytest.raises(SignInRefused):
            passkeys.sign_in(late, SITE, "v", answer)
        passkeys.offer_sign_in(replace(work, now=work.now + timedelta(hours=1)), SITE, "other")
        assert len(work.session.scalars(select(PasskeyChallenge)).all()) == 1


def test_a_key_for_one_site_opens_no_other_that_shares_the_database(sqlite_engine):
    key = added(sqlite_engine, factories.person(sqlite_engine, Role.VOLUNTEER, "Ada"))
    key.host, key.origin = ELSEWHERE.host, ELSEWHERE.origin

    with pytest.raises(SignInRefused):
        enter(sqlite_engine, key.used(wish(sqlite_engine, site=ELSEWHERE)), site=ELSEWHERE)


@pytest.mark.parametrize("later", [5, 4, 0])
def test_a_counter_that_goes_back_is_refused_and_remembered(sqlite_engine, later):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    key = added(sqlite_engine, ada)
    key.uses = 5
    enter(sqlite_engine, key.used(wish(sqlite_engine)))
    key.uses = later
    with pytest.raises(SignInRefused, match="went back"):
        enter(sqlite_engine, key.used(wish(sqlite_engine)))

    with unit_of_work(sqlite_engine, COMMAND) as work:
        newest = accounts.history(work, ada.person_id or 0)[0]
    assert (newest.outcome, f"stands at {later}" in newest.detail) == ("failure", True)
    key.uses = 6
    assert enter(sqlite_engine, key.used(wish(sqlite_engine))).actor == ada


def test_keys_that_keep_no_counter_serve_again_and_again(sqlite_engine):
    key = added(sqlite_engine, factories.person(sqlite_engine, Role.VOLUNTEER, "Ada"))
    for _ in range(3):
        enter(sqlite_engine, key.used(wish(sqlite_engine)))


def test_several_keys_have_names_and_one_removed_opens_nothing(engine, ada):
    one, other = added(engine, ada), added(engine, ada)
    with unit_of_work(engine, ada) as work:
        first, second = passkeys.own(work)
        passkeys.rename(work, second.id, NewPasskey(name="my phone"))
        passkeys.remove(work, first.id)

    with pytest.raises(SignInRefused):
        enter(engine, one.used(wish(engine)))
    assert enter(engine, other.used(wish(engine))).actor == ada
    with unit_of_work(engine, ada) as work:
        assert [each.name for each in passkeys.own(work)] == ["my phone"]
        told = [each.detail for each in accounts.history(work, ada.person_id or 0)][:2]
    assert sorted(told) == [
        "passkey key on the ring is called my phone now",
        "passkey key on the ring removed",
    ]


def test_a_key_is_held_once_and_the_browser_is_told_which_are_held(sqlite_engine):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    key = added(sqlite_engine, ada)
    asked = offered(sqlite_engine, ada)

    assert [each["id"] for each in asked["excludeCredentials"]] == [key.made(asked)["id"]]
    with unit_of_work(sqlite_engine, ada) as work, pytest.raises(Conflict):
        passkeys.add(work, SITE, "s", RING, key.made(asked))


def test_the_password_is_asked_before_a_key_is_added(sqlite_engine):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    with pytest.raises(Invalid, match="wrong"), unit_of_work(sqlite_engine, ada) as work:
        passkeys.offer_new(work, SITE, "s", "not the password")


def test_who_is_shut_out_is_not_let_in_by_a_key(sqlite_engine):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    key = added(sqlite_engine, ada)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.disable(work, ada.person_id or 0)

    with pytest.raises(SignInRefused):
        enter(sqlite_engine, key.used(wish(sqlite_engine)))


def test_a_password_that_an_administrator_sets_removes_the_keys(sqlite_engine):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    key = added(sqlite_engine, ada)
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.reset_password(work, ada.person_id or 0, "seven quiet turnstiles")

    with pytest.raises(SignInRefused):
        enter(sqlite_engine, key.used(wish(sqlite_engine)))


def test_nobody_changes_the_key_of_another(sqlite_engine):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    added(sqlite_engine, ada)
    with unit_of_work(sqlite_engine, ada) as work:
        (own,) = passkeys.own(work)
    bea = factories.person(sqlite_engine, Role.ADMINISTRATOR, "Bea")
    with unit_of_work(sqlite_engine, bea) as work:
        for act in (
            lambda: passkeys.remove(work, own.id),
            lambda: passkeys.rename(work, own.id, RING),
        ):
            with pytest.raises(NotFound):
                act()


@pytest.mark.parametrize(
    "nonsense", [{}, {"id": "x"}, {"rawId": 5, "response": []}, {"response": {}}]
)
def test_nonsense_for_an_answer_is_refused(sqlite_engine, nonsense):
    ada = factories.person(sqlite_engine, Role.VOLUNTEER, "Ada")
    wish(sqlite_engine)
    with pytest.raises(SignInRefused):
        enter(sqlite_engine, nonsense)
    offered(sqlite_engine, ada)
    with unit_of_work(sqlite_engine, ada) as work, pytest.raises(Invalid):
        passkeys.add(work, SITE, "s", RING, nonsense)
