"""How people are recognised: signing in, and sessions kept on the server."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import bindparam, delete, select, update
from sqlmodel import col

from server.catalog import accounts, passwords, throttle, tokens
from server.catalog.accounts import account_name, actor_of
from server.catalog.errors import SignInRefused
from server.catalog.work import Actor, Work
from server.store.people import Person, SignIn

LONGEST_BROWSER = 200


@dataclass(frozen=True, slots=True)
class SessionLimits:
    """How long a sign-in lasts: unused, and in all."""

    idle: timedelta = timedelta(hours=2)
    absolute: timedelta = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A sign-in just made: the token goes to the browser and is not kept here."""

    token: str
    csrf: str
    actor: Actor
    expires: datetime


@dataclass(frozen=True, slots=True)
class Session:
    """A sign-in that still holds; `csrf` must come with every form."""

    actor: Actor
    csrf: str
    expires: datetime


def sign_in(
    work: Work,
    name: str,
    password: str,
    limits: SessionLimits | None = None,
    browser: str = "",
) -> SignedIn:
    """Recognise a person by name and password; `browser` is what theirs calls itself.

    Raises:
        SignInRefused: they do not belong together, there is no such person, or the person is
            shut out; which of these, nobody is told.
        TooManyAttempts: it was tried too often.
    """
    limits = limits or SessionLimits()
    name = account_name(name)
    throttle.require_patience(work, name)
    person = work.session.scalar(select(Person).where(col(Person.name) == name))
    # Hashing is slow on purpose; no lock of the database is held meanwhile.
    work.session.commit()
    right = passwords.matches(password, person.password_hash if person else None)
    if person is None or person.disabled_at is not None or not right:
        work.afterwards.append(lambda later: throttle.count_failure(later, name))
        raise SignInRefused(
            "Name and password do not belong together.",
            where="sign-in",
            mend="Check both, and whether a key that changes letter case is locked.",
        )
    if passwords.is_outdated(person.password_hash):
        person.password_hash = passwords.hash_of(password)
    throttle.forget_failures(work, name)
    return begin(work, person, limits, browser)


def begin(work: Work, person: Person, limits: SessionLimits, browser: str = "") -> SignedIn:
    """A sign-in of somebody who was recognised."""
    assert person.id is not None
    work.session.execute(delete(SignIn).where(col(SignIn.expires_at) <= work.now))
    token, csrf = tokens.new_token(), tokens.new_token()
    session = SignIn(
        person_id=person.id,
        token_hash=tokens.kept(token),
        csrf_token=csrf,
        created_at=work.now,
        seen_at=work.now,
        idle_expires_at=work.now + limits.idle,
        expires_at=work.now + limits.absolute,
        browser=browser[:LONGEST_BROWSER] or None,
    )
    person.seen_at = work.now
    work.session.add(session)
    return SignedIn(token, csrf, actor_of(person), session.expires_at)


def resume(work: Work, token: str, limits: SessionLimits | None = None) -> Session | None:
    """The sign-in that `token` belongs to, if it still holds; its idle time starts again."""
    limits = limits or SessionLimits()
    found = work.session.execute(_SIGNED_IN, {"token_hash": tokens.kept(token)}).one_or_none()
    if found is None:
        return None
    session, person = found
    if work.now >= min(session.expires_at, session.idle_expires_at):
        return None
    if work.now - session.seen_at >= tokens.SEEN_EVERY:
        idle, session_id, person_id = limits.idle, session.id, person.id
        work.afterwards.append(lambda later: _see(later, session_id, person_id, idle))
    return Session(actor_of(person), session.csrf_token, session.expires_at)


_SIGNED_IN = (
    select(SignIn, Person)
    .join(Person, col(Person.id) == col(SignIn.person_id))
    .where(col(SignIn.token_hash) == bindparam("token_hash"), col(Person.disabled_at).is_(None))
)
"""Every page asks it: to make the statement takes longer than to answer it."""


def _see(work: Work, session_id: int | None, person_id: int | None, idle: timedelta) -> None:
    work.session.execute(
        update(SignIn)
        .where(col(SignIn.id) == session_id)
        .values(seen_at=work.now, idle_expires_at=work.now + idle)
    )
    accounts.see(work, person_id)


def sign_out(work: Work, token: str) -> None:
    """End the sign-in that `token` belongs to, in every worker at once."""
    work.session.execute(delete(SignIn).where(col(SignIn.token_hash) == tokens.kept(token)))
