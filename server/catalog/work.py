"""A unit of work: who acts, when, and the one transaction that it all happens in."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import Final

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.catalog.errors import NotAllowed, NotSignedIn
from server.catalog.vocabulary import Access
from server.store.engine import reading
from server.store.sight import limited


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

    @property
    def sees(self) -> tuple[Access, ...]:
        """What a record must be for a person of this role to see it."""
        if self.includes(Role.ARCHIVIST):
            return tuple(Access)
        if self.includes(Role.VOLUNTEER):
            return (Access.PUBLIC, Access.MEMBERS)
        return (Access.PUBLIC,)

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

    def is_person(self, person_id: int | None) -> bool:
        """Whether the actor is that person; never where nobody, or a command, is meant."""
        return person_id is not None and person_id == self.person_id

    def owns(self, person_id: int | None) -> bool:
        """Whether what that person made is the actor's to change: their own, or an archivist's."""
        if self.role.includes(Role.ARCHIVIST):
            return True
        return self.is_person(person_id) and self.role.includes(Role.VOLUNTEER)

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
    """One transaction of `session`, on behalf of `actor`, at `now` (UTC).

    What `afterwards` holds is done once the transaction has ended, however it ended, each in
    a transaction of its own: for what must be remembered of a refusal or of mere reading.
    """

    session: Session
    actor: Actor
    now: datetime
    afterwards: list[Callable[["Work"], None]] = field(default_factory=list)

    def acting_as(self, actor: Actor) -> "Work":
        """The same transaction on behalf of somebody else, as once a token is recognised.

        What it sees stays what the one sees for whom it was begun.
        """
        return replace(self, actor=actor)

    def is_to_come(self, day: date) -> bool:
        """Whether a day is still to come; with a day's grace, for it may be tomorrow elsewhere."""
        return day > self.now.date() + timedelta(days=1)


@contextmanager
def unit_of_work(engine: Engine, actor: Actor = VISITOR, *, writes: bool = True) -> Iterator[Work]:
    """A transaction that is committed once, at the end, or wholly undone by any exception.

    One that `writes` queues behind other writers; one that does not waits for nobody. Whatever
    is closed to the actor's role is not there for it, in any question that it asks.
    """
    bound = _bound(engine, actor.role, writes)
    work = Work(Session(bound, expire_on_commit=False), actor, datetime.now(UTC))
    try:
        with work.session as session:
            yield work
            session.commit()
    finally:
        for act in work.afterwards:
            with unit_of_work(engine, actor) as later:
                act(later)


def _bound(engine: Engine, role: Role, writes: bool) -> Engine:
    seen = role.sees
    levels = None if len(seen) == len(Access) else tuple(map(str, seen))
    return limited(engine if writes else reading(engine), levels)
