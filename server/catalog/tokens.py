"""Tokens: 256 random bits, told once and kept as their SHA-256, so that a theft opens no door.

With one a program acts for a person, within its scopes.
"""

import hashlib
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select, update
from sqlmodel import col

from server.catalog import accounts, events, scopes
from server.catalog.errors import NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import by_id, known
from server.catalog.inputs import Input, RequiredName
from server.catalog.scopes import Scope
from server.catalog.work import Actor, Role, Work
from server.store.people import ApiToken, Person

_TOKEN_BYTES = 32
SEEN_EVERY = timedelta(minutes=1)
"""The last use is written down no more often, so that reading stays reading."""


@dataclass(frozen=True, slots=True)
class TokenRecord:
    """A token with which a program acts for a person."""

    id: int
    label: str
    scopes: tuple[Scope, ...]
    created: datetime
    used: datetime | None
    expires: datetime | None


@dataclass(frozen=True, slots=True)
class Bearer:
    """For whom the program with a token acts, and what it may be used for."""

    actor: Actor
    scopes: frozenset[Scope]


class NewToken(Input):
    """A token to be issued; the label says which program has it."""

    label: RequiredName


def new_token() -> str:
    """A token that nobody can guess."""
    return secrets.token_urlsafe(_TOKEN_BYTES)


def kept(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def issue(
    work: Work,
    label: str,
    lasts: timedelta | None = None,
    allowed: Collection[Scope] = scopes.ALL,
) -> str:
    """A token with which a program may act as the person who asks; it is told only now.

    It holds until it is revoked, or for as long as it `lasts`.
    """
    work.actor.require(Role.VOLUNTEER)
    person_id = accounts.own_id(work, "tokens")
    token = new_token()
    row = ApiToken(
        person_id=person_id,
        label=NewToken.of({"label": label}).label,
        token_hash=kept(token),
        created_at=work.now,
        expires_at=work.now + lasts if lasts else None,
        scopes=" ".join(scopes.in_order(allowed)),
    )
    work.session.add(row)
    work.session.flush()
    _log(work, row, f"token {row.label} issued, for {row.scopes}")
    return token


def bearer(work: Work, token: str) -> Bearer | None:
    """For whom the program with this token acts, unless it was revoked or is too old."""
    found = work.session.execute(
        select(ApiToken, Person)
        .join(Person, col(Person.id) == col(ApiToken.person_id))
        .where(
            col(ApiToken.token_hash) == kept(token),
            col(ApiToken.revoked_at).is_(None),
            col(Person.disabled_at).is_(None),
        )
    ).one_or_none()
    if found is None:
        return None
    row, person = found
    if row.expires_at is not None and work.now >= row.expires_at:
        return None
    if row.used_at is None or work.now - row.used_at >= SEEN_EVERY:
        token_id, person_id = row.id, person.id
        work.afterwards.append(lambda later: _use(later, token_id, person_id))
    return Bearer(accounts.actor_of(person), scopes.of_words(row.scopes.split()))


def _use(work: Work, token_id: int | None, person_id: int | None) -> None:
    work.session.execute(
        update(ApiToken).where(col(ApiToken.id) == token_id).values(used_at=work.now)
    )
    accounts.see(work, person_id)


def own(work: Work) -> tuple[TokenRecord, ...]:
    """The person's own tokens that still hold, newest first."""
    work.actor.require(Role.VOLUNTEER)
    rows = work.session.scalars(
        select(ApiToken)
        .where(
            col(ApiToken.person_id) == accounts.own_id(work, "tokens"),
            col(ApiToken.revoked_at).is_(None),
            col(ApiToken.expires_at).is_(None) | (col(ApiToken.expires_at) > work.now),
        )
        .order_by(col(ApiToken.id).desc())
    )
    return tuple(
        TokenRecord(
            id=known(row.id),
            label=row.label,
            scopes=scopes.in_order(scopes.of_words(row.scopes.split())),
            created=row.created_at,
            used=row.used_at,
            expires=row.expires_at,
        )
        for row in rows
    )


def revoke(work: Work, token_id: int) -> None:
    """End one of the person's own tokens.

    Raises:
        NotFound: the person has no such token.
    """
    work.actor.require(Role.VOLUNTEER)
    row = by_id(work, ApiToken, token_id)
    if row is None or row.person_id != accounts.own_id(work, "tokens"):
        raise NotFound(
            f"You have no token {token_id}.", where="tokens", mend="Look in your list of tokens."
        )
    if row.revoked_at is None:
        row.revoked_at = work.now
        _log(work, row, f"token {row.label} revoked")


def _log(work: Work, row: ApiToken, detail: str) -> None:
    events.record(work, EventType.ACCOUNT, ObjectKind.PERSON, row.person_id, detail=detail)
