import hashlib
from dataclasses import replace
from datetime import timedelta

import pytest
from argon2 import PasswordHasher
from sqlalchemy import Engine, select, update
from sqlmodel import col

from server.catalog import accounts, people, scopes, throttle, tokens
from server.catalog.errors import (
    Conflict,
    Invalid,
    NotAllowed,
    NotFound,
    NotSignedIn,
    SignInRefused,
    TooManyAttempts,
)
from server.catalog.held import known
from server.catalog.work import COMMAND, VISITOR, Actor, Role, Work, unit_of_work
from server.store.people import ApiToken, Person, SignIn, SignInFailure
from tests import factories

LIMITS = people.SessionLimits(idle=timedelta(hours=1), absolute=timedelta(hours=8))


pytestmark = pytest.mark.usefixtures("quick_hashes")


@pytest.fixture
def ada(sqlite_engine: Engine) -> Actor:
    return factories.person(sqlite_engine, Role.ARCHIVIST, "Ada")


def sign_in(engine: Engine, name: str = "ada", password: str = factories.PASSWORD):
    with unit_of_work(engine) as work:
        return people.sign_in(work, name, password, LIMITS)


def later(work: Work, **passed: float) -> Work:
    return replace(work, now=work.now + timedelta(**passed))


def resumed(engine: Engine, token: str, **passed: float) -> people.Session | None:
    """The session some time after now; what is noted of it is noted then."""
    with unit_of_work(engine) as work:
        at = replace(later(work, **passed), afterwards=[])
        session = people.resume(at, token, LIMITS)
        for act in at.afterwards:
            act(at)
        return session


def test_a_person_signs_in_by_a_name_in_any_case(sqlite_engine, ada):
    signed_in = sign_in(sqlite_engine, " ADA ")

    assert ada == signed_in.actor
    session = resumed(sqlite_engine, signed_in.token)
    assert session is not None
    assert (ada, signed_in.csrf) == (session.actor, session.csrf)


def test_only_the_digest_of_a_token_is_kept(sqlite_engine, ada):
    token = sign_in(sqlite_engine).token
    with unit_of_work(sqlite_engine) as work:
        kept = work.session.scalars(select(SignIn)).one()

        assert hashlib.sha256(token.encode()).hexdigest() == kept.token_hash
        assert token not in repr(kept)
    assert len(token) >= 43, "256 bits in base 64"


def test_each_sign_in_has_a_token_of_its_own(sqlite_engine, ada):
    first, second = sign_in(sqlite_engine), sign_in(sqlite_engine)

    assert len({first.token, first.csrf, second.token, second.csrf}) == 4


@pytest.mark.parametrize(("name", "password"), [("ada", "wrong"), ("nobody", "wrong"), ("", "")])
def test_a_wrong_name_and_a_wrong_password_are_told_alike(sqlite_engine, ada, name, password):
    with pytest.raises(SignInRefused, match="do not belong together"):
        sign_in(sqlite_engine, name, password)


def test_a_sign_in_ends_when_it_was_not_used_for_long(sqlite_engine, ada):
    token = sign_in(sqlite_engine).token

    assert resumed(sqlite_engine, token, minutes=59) is not None
    assert resumed(sqlite_engine, token, minutes=59 + 59) is not None
    assert resumed(sqlite_engine, token, minutes=59 + 59 + 61) is None


def test_a_sign_in_ends_at_its_absolute_limit_however_busy(sqlite_engine, ada):
    token = sign_in(sqlite_engine).token
    for half_hour in range(1, 16):
        assert resumed(sqlite_engine, token, minutes=30 * half_hour) is not None

    assert resumed(sqlite_engine, token, hours=8) is None


def test_signing_out_ends_that_sign_in_only(sqlite_engine, ada):
    first, second = sign_in(sqlite_engine).token, sign_in(sqlite_engine).token
    with unit_of_work(sqlite_engine) as work:
        people.sign_out(work, first)

    assert resumed(sqlite_engine, first) is None
    assert resumed(sqlite_engine, second) is not None


@pytest.mark.parametrize("token", ["", "x", "\ud800", "é" * 1000])
def test_a_token_that_was_never_given_resumes_nothing(sqlite_engine, token):
    assert resumed(sqlite_engine, token) is None
    with unit_of_work(sqlite_engine) as work:
        assert tokens.bearer(work, token) is None


def test_a_guesser_must_wait_and_longer_each_time(engine: Engine):
    factories.person(engine, Role.VOLUNTEER, "ada")
    waits = []
    for _ in range(throttle.FREE_FAILURES):
        with pytest.raises(SignInRefused):
            sign_in(engine, password="wrong")
    for _ in range(3):
        with pytest.raises(TooManyAttempts) as refused:
            sign_in(engine)
        waits.append(refused.value.retry_after)
        with unit_of_work(engine) as work:
            throttle.count_failure(work, "ada")

    assert waits == [2, 4, 8]


def test_waiting_is_enough_and_success_starts_the_count_again(sqlite_engine, ada):
    for _ in range(throttle.FREE_FAILURES):
        with pytest.raises(SignInRefused):
            sign_in(sqlite_engine, password="wrong")
    with unit_of_work(sqlite_engine) as work:
        people.sign_in(later(work, seconds=3), "ada", factories.PASSWORD)

        assert work.session.scalars(select(SignInFailure)).all() == []


def test_a_hundred_failures_in_a_row_shut_the_name_for_a_day(sqlite_engine, ada):
    """NIST SP 800-63B-4 (from memory): no more than 100 consecutive failures."""
    with unit_of_work(sqlite_engine) as work:
        for _ in range(throttle.MOST_FAILURES):
            throttle.count_failure(work, "ada")
    with pytest.raises(TooManyAttempts) as refused:
        sign_in(sqlite_engine)

    assert refused.value.retry_after > 23 * 3600


def test_the_name_that_was_tried_is_not_kept(sqlite_engine):
    with pytest.raises(SignInRefused):
        sign_in(sqlite_engine, "my secret password by mistake", "ada")
    with unit_of_work(sqlite_engine) as work:
        kept = work.session.scalars(select(SignInFailure)).one()

        assert "secret" not in repr(kept)


def test_a_hash_of_older_parameters_is_renewed_at_sign_in(sqlite_engine, ada):
    old = PasswordHasher(time_cost=2, memory_cost=16, parallelism=1).hash(factories.PASSWORD)
    with unit_of_work(sqlite_engine) as work:
        work.session.execute(update(Person).values(password_hash=old))
    sign_in(sqlite_engine)
    with unit_of_work(sqlite_engine) as work:
        assert "m=8,t=1" in work.session.scalars(select(col(Person.password_hash))).one()


def test_a_person_who_is_shut_out_is_out_everywhere(sqlite_engine, ada):
    factories.person(sqlite_engine, Role.ADMINISTRATOR)
    session = sign_in(sqlite_engine).token
    with unit_of_work(sqlite_engine, ada) as work:
        token = tokens.issue(work, "the club's script")
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.disable(work, known(ada.person_id))

    assert resumed(sqlite_engine, session) is None
    with unit_of_work(sqlite_engine) as work:
        assert tokens.bearer(work, token) is None
    with pytest.raises(SignInRefused):
        sign_in(sqlite_engine)


def test_a_person_let_in_again_signs_in_anew(sqlite_engine, ada):
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.disable(work, known(ada.person_id))
        accounts.enable(work, known(ada.person_id))

    assert ada == sign_in(sqlite_engine).actor


def test_a_token_acts_for_its_person_until_it_is_revoked(sqlite_engine, ada):
    with unit_of_work(sqlite_engine, ada) as work:
        token = tokens.issue(work, "reader on the bench")
    with unit_of_work(sqlite_engine, writes=False) as work:
        assert tokens.Bearer(ada, scopes.ALL) == tokens.bearer(work, token)
    with unit_of_work(sqlite_engine, ada) as work:
        kept = tokens.own(work)
        assert [each.label for each in kept] == ["reader on the bench"]
        assert kept[0].used is not None
        assert [row for row in work.session.scalars(select(ApiToken)) if token in repr(row)] == []
        tokens.revoke(work, kept[0].id)
        assert tokens.own(work) == ()
        assert tokens.bearer(work, token) is None


def test_a_token_may_be_lent_for_a_while(sqlite_engine, ada):
    with unit_of_work(sqlite_engine, ada) as work:
        token = tokens.issue(work, "open day", timedelta(days=1))

        assert tokens.bearer(later(work, hours=23), token) is not None
        assert tokens.bearer(later(work, hours=24), token) is None


def test_nobody_revokes_the_token_of_another(sqlite_engine, ada):
    with unit_of_work(sqlite_engine, ada) as work:
        tokens.issue(work, "mine")
        token_id = tokens.own(work)[0].id
    other = factories.person(sqlite_engine, Role.ARCHIVIST, "Bea")
    with unit_of_work(sqlite_engine, other) as work, pytest.raises(NotFound):
        tokens.revoke(work, token_id)


def test_the_command_line_has_no_token_of_its_own(sqlite_engine):
    with unit_of_work(sqlite_engine, COMMAND) as work, pytest.raises(NotFound):
        tokens.issue(work, "x")


def test_a_visitor_has_no_tokens(sqlite_engine):
    with unit_of_work(sqlite_engine) as work, pytest.raises(NotSignedIn):
        tokens.own(work)


def test_a_name_is_given_to_one_person_only(engine: Engine):
    factories.person(engine, Role.VOLUNTEER, "Ada")
    with unit_of_work(engine, COMMAND) as work:
        with pytest.raises(Conflict) as refused:
            accounts.create_person(work, "ada ", factories.PASSWORD)
        accounts.create_person(work, "Bea", factories.PASSWORD)

    assert list(refused.value.fields) == ["name"]
    with unit_of_work(engine, COMMAND) as work:
        assert [each.name for each in accounts.people(work)] == ["ada", "bea"]


@pytest.mark.parametrize("role", [Role.VOLUNTEER, Role.ARCHIVIST])
def test_only_an_administrator_keeps_the_list_of_people(sqlite_engine, ada, role):
    actor = Actor(1, "x", role)
    with unit_of_work(sqlite_engine, actor) as work:
        for act in (
            lambda: accounts.create_person(work, "x", factories.PASSWORD),
            lambda: accounts.people(work),
            lambda: accounts.disable(work, 1),
            lambda: accounts.enable(work, 1),
            lambda: accounts.set_role(work, 1, Role.ADMINISTRATOR),
            lambda: accounts.reset_password(work, 1, factories.PASSWORD),
        ):
            with pytest.raises(NotAllowed):
                act()


def test_the_last_administrator_stays(sqlite_engine):
    last = factories.person(sqlite_engine, Role.ADMINISTRATOR)
    with unit_of_work(sqlite_engine, last) as work:
        with pytest.raises(Conflict):
            accounts.disable(work, known(last.person_id))
        with pytest.raises(Conflict):
            accounts.set_role(work, known(last.person_id), Role.VOLUNTEER)


def test_a_new_role_counts_in_a_sign_in_that_holds(sqlite_engine, ada):
    token = sign_in(sqlite_engine).token
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.set_role(work, known(ada.person_id), Role.VOLUNTEER)
    session = resumed(sqlite_engine, token)

    assert session is not None
    assert session.actor.role == Role.VOLUNTEER


def test_changing_ones_password_needs_the_old_one_and_ends_every_sign_in(sqlite_engine, ada):
    token = sign_in(sqlite_engine).token
    with unit_of_work(sqlite_engine, ada) as work:
        with pytest.raises(Invalid) as refused:
            accounts.change_password(work, "not the old one", "seven quiet turnstiles")
        accounts.change_password(work, factories.PASSWORD, "seven quiet turnstiles")

    assert list(refused.value.fields) == ["old"]
    assert resumed(sqlite_engine, token) is None
    assert ada == sign_in(sqlite_engine, password="seven quiet turnstiles").actor


def test_an_administrator_gives_a_new_password(sqlite_engine, ada):
    with unit_of_work(sqlite_engine, COMMAND) as work:
        accounts.reset_password(work, known(ada.person_id), "seven quiet turnstiles")
        with pytest.raises(NotFound):
            accounts.reset_password(work, 99, "seven quiet turnstiles")

    with pytest.raises(SignInRefused):
        sign_in(sqlite_engine)
    sign_in(sqlite_engine, password="seven quiet turnstiles")


def test_a_visitor_has_no_password_to_change(sqlite_engine):
    with unit_of_work(sqlite_engine, VISITOR) as work, pytest.raises(NotSignedIn):
        accounts.change_password(work, "x", "y")
