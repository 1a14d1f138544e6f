"""Who uses the library: people, their sign-ins, and the tokens of their programs."""

from datetime import datetime

from sqlmodel import Field

from server.store.row import Row, UtcDateTime


class Person(Row, table=True):
    """Someone with an account. Accounts are disabled, never deleted: events point at them.

    `name` is what they sign in with, stored as it is compared: trimmed and in lower case.
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


class ApiToken(Row, table=True):
    """A token with which a program acts for a person; only its SHA-256 is kept."""

    __tablename__ = "api_token"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    label: str
    token_hash: str = Field(unique=True)
    created_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    expires_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class SignInFailure(Row, table=True):
    """How often in a row a wrong password was given for a name, so that guessing is slowed.

    The name is hashed: people type passwords where a name belongs.
    """

    __tablename__ = "sign_in_failure"

    name_hash: str = Field(primary_key=True)
    failures: int
    last_at: datetime = Field(sa_type=UtcDateTime, index=True)
