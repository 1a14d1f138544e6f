"""Who uses the library: people, their invitations, sign-ins and keys, and tokens of programs."""

from datetime import datetime

from sqlalchemy import BigInteger, Index, false
from sqlmodel import Field

from server.store.row import Row, UtcDateTime

ALL_SCOPES = "read upload describe keep punch work account people"
"""What tokens reached before they had scopes, and reach where none is given."""


class Person(Row, table=True):
    """Someone with an account. Accounts are disabled, never deleted: events point at them.

    `name` is what they sign in with, stored as it is compared: trimmed and in lower case. Only
    who is `named` is called by `display_name` where everybody may read.
    """

    __tablename__ = "person"

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    display_name: str
    role: str
    password_hash: str
    created_at: datetime = Field(sa_type=UtcDateTime)
    password_changed_at: datetime = Field(sa_type=UtcDateTime)
    disabled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    seen_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    named: bool = Field(default=False, sa_column_kwargs={"server_default": false()})


class Invitation(Row, table=True):
    """A link with which somebody gives themselves an account, once; here is its SHA-256 only."""

    __tablename__ = "invitation"

    id: int | None = Field(default=None, primary_key=True)
    token_hash: str = Field(unique=True)
    role: str
    note: str
    invited_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    created_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    withdrawn_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)


class SignIn(Row, table=True):
    """One browser signed in. The token itself is only in the browser; here is its SHA-256.

    It ends at `idle_expires_at`, which each use moves on, and at `expires_at` whatever happens.
    """

    __tablename__ = "sign_in"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    token_hash: str = Field(unique=True)
    csrf_token: str
    created_at: datetime = Field(sa_type=UtcDateTime)
    seen_at: datetime = Field(sa_type=UtcDateTime)
    idle_expires_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime, index=True)
    browser: str | None = None


class Passkey(Row, table=True):
    """A public key with which a person signs in instead of a password (W3C WebAuthn).

    `credential_id` is in base64url; `credential` the attested credential data, which hold the
    public key; `uses` the counter that the key itself keeps, 0 where it keeps none.
    """

    __tablename__ = "passkey"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    name: str
    credential_id: str = Field(unique=True)
    credential: bytes
    site: str
    uses: int = Field(sa_type=BigInteger)
    created_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class PasskeyChallenge(Row, table=True):
    """What a passkey is asked to sign: once, and for the browser session that asked.

    `session_hash` is the SHA-256 of that session's secret; `person_id` is there where a new key
    is being added.
    """

    __tablename__ = "passkey_challenge"
    __table_args__ = (Index(None, "session_hash"),)

    challenge: str = Field(primary_key=True)
    session_hash: str
    person_id: int | None = Field(default=None, foreign_key="person.id")
    expires_at: datetime = Field(sa_type=UtcDateTime, index=True)


class ApiToken(Row, table=True):
    """A token with which a program acts for a person; only its SHA-256 is kept.

    `scopes` are what it may be used for, apart by spaces (RFC 6749, section 3.3).
    """

    __tablename__ = "api_token"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    label: str
    token_hash: str = Field(unique=True)
    created_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    expires_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    scopes: str = Field(default=ALL_SCOPES, sa_column_kwargs={"server_default": ALL_SCOPES})


class SignInFailure(Row, table=True):
    """How often in a row a wrong password was given for a name, so that guessing is slowed.

    The name is hashed: people type passwords where a name belongs.
    """

    __tablename__ = "sign_in_failure"

    name_hash: str = Field(primary_key=True)
    failures: int
    last_at: datetime = Field(sa_type=UtcDateTime, index=True)
