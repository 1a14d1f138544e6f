"""A unit of work: who acts, when, and the one transaction that it all happens in."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from typing import Final

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.catalog.errors import ArchiveError, NotAllowed, NotSignedIn


class Role(StrEnum):
    """What a person may do; each role includes those before it."""

    VISITOR = "visitor"
    """Reads, searches and downloads."""
    VOLUNTEER = "volunteer"
    """Uploads images, describes tapes, logs condition."""
    ARCHIVIST = "archivist"
    """Keeps programs and versions, vouches for images, changes the identity of a tape."""
    ADMINISTRATOR = "administrator"
    """Keeps the list of people."""

    def includes(self, other: "Role") -> bool:
        """Whether a person of this role may do all that one of the `other` may."""
        order = tuple(Role)
        return order.index(self) >= order.index(other)


@dataclass(frozen=True, slots=True)
class Actor:
    """Who acts: a person of the club, or (without `person_id`) a visitor or a command."""

    person_id: int | None
    name: str
    role: Role

    def require(self, role: Role) -> None:
        """Nothing, if the actor may do what `role` may.

        Raises:
            NotSignedIn: a visitor asked.
            NotAllowed: a person of a lesser role asked.
        """
        if self.role.includes(role):
            return
        if self.role is Role.VISITOR:
            raise NotSignedIn(f"Only a signed-in {role} may do this.", mend="Sign in first.")
        raise NotAllowed(
            f"Only a person with the role {role} may do this; {self.name} is {self.role}.",
            mend="Ask an administrator of the archive.",
        )


VISITOR: Final = Actor(None, "visitor", Role.VISITOR)
COMMAND: Final = Actor(None, "command line", Role.ADMINISTRATOR)
"""Whoever can start a command on the server itself already holds the database."""


@dataclass(frozen=True, slots=True)
class Work:
    """One transaction of `session`, on behalf of `actor`, at `now` (UTC)."""

    session: Session
    actor: Actor
    now: datetime

    def acting_as(self, actor: Actor) -> "Work":
        """The same transaction on behalf of somebody else, as once a token is recognised."""
        return replace(self, actor=actor)


@contextmanager
def unit_of_work(engine: Engine, actor: Actor = VISITOR) -> Iterator[Work]:
    """A transaction that is committed once, at the end, or wholly undone by any exception.

    The one exception is a refusal that itself must be remembered, such as that of a wrong
    password: see `ArchiveError.keeps_work`.
    """
    with Session(engine, expire_on_commit=False) as session:
        try:
            yield Work(session, actor, datetime.now(UTC))
        except ArchiveError as error:
            if error.keeps_work:
                session.commit()
            raise
        session.commit()
