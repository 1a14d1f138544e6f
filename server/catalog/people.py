"""How people are recognised: signing in, sessions kept on the server, tokens for programs.

A token is 256 random bits; only its SHA-256 is kept, so that a stolen database opens no door.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import bindparam, delete, select, update
from sqlmodel import col

from server.catalog import passwords, throttle
from server.catalog.accounts import account_name, actor_of
from server.catalog.errors import NotFound, SignInRefused
from server.catalog.inputs import Input, RequiredName
from server.catalog.work import Actor, Role, Work
from server.store.people import ApiToken, Person, SignIn

_TOKEN_BYTES = 32
_SEEN_EVERY = timedelta(minutes=1)
"""A session's last use is written down no more often, so that reading pages stays reading."""


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


@dataclass(frozen=True, slots=True)
class TokenRecord:
    """A token with which a program acts for a person."""

    id: int
    label: str
    created: datetime
    used: datetime | None


class NewToken(Input):
    """A token to be issued; the label says which program has it."""

    label: RequiredName


def sign_in(work: Work, name: str, password: str, limits: SessionLimits | None = None) -> SignedIn:
    """Recognise a person by name and password.

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
    return _begin(work, person, limits)


def _begin(work: Work, person: Person, limits: SessionLimits) -> SignedIn:
    assert person.id is not None
    work.session.execute(delete(SignIn).where(col(SignIn.expires_at) <= work.now))
    token, csrf = _new_token(), _new_token()
    session = SignIn(
        person_id=person.id,
        token_hash=_kept(token),
        csrf_token=csrf,
        created_at=work.now,
        seen_at=work.now,
        idle_expires_at=work.now + limits.idle,
        expires_at=work.now + limits.absolute,
    )
    work.session.add(session)
    return SignedIn(token, csrf, actor_of(person), session.expires_at)


def resume(work: Work, token: str, limits: SessionLimits | None = None) -> Session | None:
    """The sign-in that `token` belongs to, if it still holds; its idle time starts again."""
    limits = limits or SessionLimits()
    found = work.session.execute(_SIGNED_IN, {"token_hash": _kept(token)}).one_or_none()
    if found is None:
        return None
    session, person = found
    if work.now >= min(session.expires_at, session.idle_expires_at):
        return None
    if work.now - session.seen_at >= _SEEN_EVERY:
        idle, session_id = limits.idle, session.id
        work.afterwards.append(lambda later: _see(later, session_id, idle))
    return Session(actor_of(person), session.csrf_token, session.expires_at)


_SIGNED_IN = (
    select(SignIn, Person)
    .join(Person, col(Person.id) == col(SignIn.person_id))
    .where(col(SignIn.token_hash) == bindparam("token_hash"), col(Person.disabled_at).is_(None))
)
"""Every page asks it: to make the statement takes longer than to answer it."""


def _see(work: Work, session_id: int | None, idle: timedelta) -> None:
    work.session.execute(
        update(SignIn)
        .where(col(SignIn.id) == session_id)
        .values(seen_at=work.now, idle_expires_at=work.now + idle)
    )


def sign_out(work: Work, token: str) -> None:
    """End the sign-in that `token` belongs to, in every worker at once."""
    work.session.execute(delete(SignIn).where(col(SignIn.token_hash) == _kept(token)))


def issue_token(work: Work, label: str, lasts: timedelta | None = None) -> str:
    """A token with which a program may act as the person who asks; it is told only now.

    It holds until it is revoked, or for as long as it `lasts`.
    """
    work.actor.require(Role.VOLUNTEER)
    person_id = own_id(work)
    token = _new_token()
    work.session.add(
        ApiToken(
            person_id=person_id,
            label=NewToken.of({"label": label}).label,
            token_hash=_kept(token),
            created_at=work.now,
            expires_at=work.now + lasts if lasts else None,
        )
    )
    return token


def actor_of_token(work: Work, token: str) -> Actor | None:
    """The person for whom the program with this token acts, unless it was revoked."""
    found = work.session.execute(
        select(ApiToken, Person)
        .join(Person, col(Person.id) == col(ApiToken.person_id))
        .where(
            col(ApiToken.token_hash) == _kept(token),
            col(ApiToken.revoked_at).is_(None),
            col(Person.disabled_at).is_(None),
        )
    ).one_or_none()
    if found is None:
        return None
    kept, person = found
    if kept.expires_at is not None and work.now >= kept.expires_at:
        return None
    if kept.used_at is None or work.now - kept.used_at >= _SEEN_EVERY:
        token_id = kept.id
        work.afterwards.append(lambda later: _use(later, token_id))
    return actor_of(person)


def _use(work: Work, token_id: int | None) -> None:
    work.session.execute(
        update(ApiToken).where(col(ApiToken.id) == token_id).values(used_at=work.now)
    )


def tokens(work: Work) -> tuple[TokenRecord, ...]:
    """The person's own tokens that still hold, newest first."""
    work.actor.require(Role.VOLUNTEER)
    rows = work.session.scalars(
        select(ApiToken)
        .where(col(ApiToken.person_id) == own_id(work), col(ApiToken.revoked_at).is_(None))
        .order_by(col(ApiToken.id).desc())
    )
    return tuple(
        TokenRecord(row.id, row.label, row.created_at, row.used_at) for row in rows if row.id
    )


def revoke_token(work: Work, token_id: int) -> None:
    """End one of the person's own tokens.

    Raises:
        NotFound: the person has no such token.
    """
    work.actor.require(Role.VOLUNTEER)
    token = work.session.get(ApiToken, token_id)
    if token is None or token.person_id != own_id(work):
        raise NotFound(
            f"You have no token {token_id}.", where="tokens", mend="Look in your list of tokens."
        )
    token.revoked_at = token.revoked_at or work.now


def own_id(work: Work, where: str = "tokens") -> int:
    """The id of the person who acts, of whom `where` speaks.

    Raises:
        NotFound: nobody does, as where a command is run on the server itself.
    """
    if work.actor.person_id is None:
        raise NotFound(
            "The command line has no account of its own.",
            where=where,
            mend="Sign in as a person.",
        )
    return work.actor.person_id


def _new_token() -> str:
    return secrets.token_urlsafe(_TOKEN_BYTES)


def _kept(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
