"""Passkeys: signing in with a key of one's own instead of a password (W3C WebAuthn, level 2).

A challenge is 256 random bits, serves once, for five minutes, and only the browser session that
asked for it. The answer is checked by a library (fido2): challenge, origin, the site that the key
is for, that a person was there and was recognised by the key, and the signature. The rules come
from W3C Web Authentication, level 2, sections 7.1 and 7.2 (from memory).
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from urllib.parse import urlsplit

from fido2.server import Fido2Server
from fido2.utils import websafe_encode
from fido2.webauthn import (
    AttestedCredentialData,
    AuthenticationResponse,
    PublicKeyCredentialRpEntity,
    PublicKeyCredentialUserEntity,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)
from sqlalchemy import delete, select
from sqlmodel import col

from server.catalog import accounts, events, people, tokens
from server.catalog.errors import Conflict, Invalid, NotFound, SignInRefused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import by_id, known
from server.catalog.inputs import Input, RequiredName
from server.catalog.people import SessionLimits, SignedIn
from server.catalog.work import Role, Work
from server.store.people import Passkey, PasskeyChallenge, Person

HOLDS: Final = timedelta(minutes=5)
"""How long a challenge may be answered."""

MOST: Final = 20
"""Keys of one person."""

_REQUIRED: Final = UserVerificationRequirement.REQUIRED


@dataclass(frozen=True, slots=True)
class PasskeyRecord:
    """One of a person's keys."""

    id: int
    name: str
    site: str
    added: datetime
    used: datetime | None


@dataclass(frozen=True, slots=True)
class Site:
    """Where people sign in: the origin that browsers must name, and the host that keys are for."""

    origin: str

    @property
    def host(self) -> str:
        """The host, which the standard calls the relying party's id."""
        return urlsplit(self.origin).hostname or ""

    @property
    def server(self) -> Fido2Server:
        """What checks answers for this site."""
        rp = PublicKeyCredentialRpEntity(name="Feedhole", id=self.host)
        return Fido2Server(rp, verify_origin=lambda origin: origin == self.origin)


class NewPasskey(Input):
    """What a person calls a key."""

    name: RequiredName


def offer_new(work: Work, site: Site, session: str, password: str) -> dict[str, Any]:
    """What the browser needs to add a key, as the standard writes it in JSON.

    The password is asked again: a key opens the door as long as nobody removes it.

    Raises:
        Invalid: the password is wrong.
        Conflict: the person has as many keys as anybody may.
    """
    work.actor.require(Role.VOLUNTEER)
    person = accounts.require_password(work, password, "password")
    held = _of(work, known(person.id))
    if len(held) >= MOST:
        raise Conflict(
            f"You have {MOST} passkeys.", where="passkeys", mend="Remove one that you do not use."
        )
    options, _ = site.server.register_begin(
        PublicKeyCredentialUserEntity(
            name=person.name, display_name=person.display_name, id=_handle(known(person.id))
        ),
        [_credential(each) for each in held if each.site == site.host],
        resident_key_requirement=ResidentKeyRequirement.REQUIRED,
        user_verification=_REQUIRED,
        challenge=_challenge(work, session, person.id),
    )
    return dict(options.public_key)


def add(work: Work, site: Site, session: str, new: NewPasskey, answer: Mapping[str, Any]) -> None:
    """Keep the key that answers what was last asked in this session.

    Raises:
        Invalid: the answer is not one to that question, or not from here.
        Conflict: the key is held already.
    """
    work.actor.require(Role.VOLUNTEER)
    person_id = accounts.own_id(work, "passkeys")
    state = _asked(work, session, person_id)
    try:
        told = site.server.register_complete(state, answer)
        credential = told.credential_data
    except (ValueError, TypeError, KeyError, AttributeError) as fault:
        raise _not_taken(fault) from None
    if credential is None:
        raise _not_taken("it holds no key")
    name = websafe_encode(credential.credential_id)
    if work.session.scalar(select(Passkey).where(col(Passkey.credential_id) == name)):
        raise Conflict(
            "This passkey is held already.",
            where="passkeys",
            mend="Sign in with it, or use another.",
        )
    work.session.add(
        Passkey(
            person_id=person_id,
            name=new.name,
            credential_id=name,
            credential=bytes(credential),
            site=site.host,
            uses=told.counter,
            created_at=work.now,
        )
    )
    _log(work, person_id, f"passkey {new.name} added, for {site.host}")


def offer_sign_in(work: Work, site: Site, session: str) -> dict[str, Any]:
    """What the browser needs to sign in with whichever key the person chooses."""
    options, _ = site.server.authenticate_begin(
        user_verification=_REQUIRED, challenge=_challenge(work, session, None)
    )
    return dict(options.public_key)


def sign_in(
    work: Work,
    site: Site,
    session: str,
    answer: Mapping[str, Any],
    limits: SessionLimits | None = None,
    browser: str = "",
) -> SignedIn:
    """Recognise a person by the key that answers what was asked in this session.

    Raises:
        SignInRefused: it is not known here, its answer does not hold, or its person is shut out.
    """
    state = _asked(work, session, None)
    try:
        given = AuthenticationResponse.from_dict(answer)
        row = _by_id(work, websafe_encode(given.raw_id), site)
        site.server.authenticate_complete(state, [_credential(row)] if row else [], given)
    except (ValueError, TypeError, KeyError, AttributeError):
        raise _refused() from None
    person = work.session.get(Person, row.person_id) if row else None
    handle = given.response.user_handle
    if row is None or person is None or person.disabled_at is not None:
        raise _refused()
    if handle is not None and handle != _handle(known(person.id)):
        raise _refused()
    _count(work, row, given.response.authenticator_data.counter)
    return people.begin(work, person, limits or SessionLimits(), browser)


def _count(work: Work, row: Passkey, uses: int) -> None:
    """Heed the key's own counter, which goes back only where there are two of a key.

    Raises:
        SignInRefused: it went back, which is remembered.
    """
    if (uses or row.uses) and uses <= row.uses:
        person_id, name, held = row.person_id, row.name, row.uses
        detail = (
            f"sign-in with passkey {name} refused: its counter stands at {uses}, and stood at"
            f" {held} before; there may be a second of this key"
        )
        work.afterwards.append(lambda later: _log(later, person_id, detail, outcome="failure"))
        raise SignInRefused(
            "The counter of this passkey went back, as if there were two of it.",
            where="sign-in",
            mend="Sign in with your password, remove the passkey, and tell an administrator.",
        )
    row.uses, row.used_at = uses, work.now


def own(work: Work) -> tuple[PasskeyRecord, ...]:
    """The person's own keys, the oldest first."""
    work.actor.require(Role.VOLUNTEER)
    return tuple(
        PasskeyRecord(known(row.id), row.name, row.site, row.created_at, row.used_at)
        for row in _of(work, accounts.own_id(work, "passkeys"))
    )


def rename(work: Work, passkey_id: int, new: NewPasskey) -> None:
    """Call one of one's own keys something else.

    Raises:
        NotFound: the person has no such key.
    """
    row = _own(work, passkey_id)
    if row.name != new.name:
        _log(work, row.person_id, f"passkey {row.name} is called {new.name} now")
        row.name = new.name


def remove(work: Work, passkey_id: int) -> None:
    """Let one of one's own keys open this door no more.

    Raises:
        NotFound: the person has no such key.
    """
    row = _own(work, passkey_id)
    work.session.delete(row)
    _log(work, row.person_id, f"passkey {row.name} removed")


def _own(work: Work, passkey_id: int) -> Passkey:
    work.actor.require(Role.VOLUNTEER)
    row = by_id(work, Passkey, passkey_id)
    if row is None or row.person_id != accounts.own_id(work, "passkeys"):
        raise NotFound(
            f"You have no passkey {passkey_id}.",
            where="passkeys",
            mend="Look in your list of passkeys.",
        )
    return row


def _of(work: Work, person_id: int) -> list[Passkey]:
    rows = select(Passkey).where(col(Passkey.person_id) == person_id).order_by(col(Passkey.id))
    return list(work.session.scalars(rows))


def _by_id(work: Work, name: str, site: Site) -> Passkey | None:
    return work.session.scalar(
        select(Passkey).where(col(Passkey.credential_id) == name, col(Passkey.site) == site.host)
    )


def _credential(row: Passkey) -> AttestedCredentialData:
    return AttestedCredentialData(row.credential)


def _handle(person_id: int) -> bytes:
    """What keys know a person by: it says nothing of who that is."""
    return f"feedhole {person_id}".encode()


def _challenge(work: Work, session: str, person_id: int | None) -> bytes:
    challenge = secrets.token_bytes(32)
    session_hash = tokens.kept(session)
    work.session.execute(
        delete(PasskeyChallenge).where(
            (col(PasskeyChallenge.expires_at) <= work.now)
            | (col(PasskeyChallenge.session_hash) == session_hash)
        )
    )
    work.session.add(
        PasskeyChallenge(
            challenge=websafe_encode(challenge),
            session_hash=session_hash,
            person_id=person_id,
            expires_at=work.now + HOLDS,
        )
    )
    return challenge


def _asked(work: Work, session: str, person_id: int | None) -> dict[str, Any]:
    """What was last asked in this session; it is asked no more, whatever becomes of the answer."""
    row = work.session.execute(
        delete(PasskeyChallenge)
        .where(
            col(PasskeyChallenge.session_hash) == tokens.kept(session),
            col(PasskeyChallenge.person_id).is_not_distinct_from(person_id),
            col(PasskeyChallenge.expires_at) > work.now,
        )
        .returning(col(PasskeyChallenge.challenge))
    ).first()
    # Committed at once, for a refusal would undo it and let the same answer be tried again.
    work.session.commit()
    if row is None:
        raise _refused() if person_id is None else _not_taken("nothing was asked, or too long ago")
    return {"challenge": row.challenge, "user_verification": _REQUIRED}


def _refused() -> SignInRefused:
    return SignInRefused(
        "This passkey does not open this archive.",
        where="sign-in",
        mend="Try again, or sign in with your password; keys are added on your account page.",
    )


def _not_taken(why: object) -> Invalid:
    return Invalid(
        f"The passkey could not be added: {why}.",
        where="passkey",
        mend="Begin again on this page; the browser asks for the key once more.",
    )


def _log(work: Work, person_id: int, detail: str, outcome: str = "success") -> None:
    events.record(
        work, EventType.ACCOUNT, ObjectKind.PERSON, person_id, detail=detail, outcome=outcome
    )
