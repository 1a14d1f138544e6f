"""Accounts whose password everybody may know: those of the demonstration, and only while it runs.

They are shut out whenever the archive starts without the setting `demo`, so that a demonstration
that is put to real use does not stand open.
"""

from collections.abc import Iterator
from typing import Final, NamedTuple

from sqlalchemy import select
from sqlmodel import col

from server.catalog import accounts, passwords
from server.catalog.work import Actor, Role, Work
from server.store.people import Person

PASSWORD: Final = "chaff in the red box"  # noqa: S105 - it is meant to be known


class Account(NamedTuple):
    """Somebody invented, who may sign in to the demonstration."""

    name: str
    display_name: str
    role: Role
    named: bool
    """Whether they agreed to be named to visitors."""


ACCOUNTS: Final = (
    Account("odile", "Odile Fenwarp", Role.VOLUNTEER, named=True),
    Account("ione", "Ione Sallowby", Role.VOLUNTEER, named=False),
    Account("aksel", "Aksel Brume", Role.ARCHIVIST, named=True),
    Account("maud", "Maud Tarrish", Role.ADMINISTRATOR, named=False),
)


def create_accounts(work: Work) -> None:
    """Give each of the invented people an account."""
    for each in ACCOUNTS:
        made = accounts.create_person(work, each.name, PASSWORD, each.role, each.display_name)
        own = work.acting_as(Actor(made.id, made.display_name, made.role))
        accounts.be_named(own, named=each.named)


def are_here(work: Work) -> bool:
    """Whether the archive is the demonstration: all of its people have accounts."""
    return len(list(_accounts(work))) == len(ACCOUNTS)


def actors(work: Work) -> dict[str, Actor]:
    """The invented people as those who act, by the name of the account."""
    return {person.name: accounts.actor_of(person) for person in _accounts(work)}


def let_in(work: Work, *, demo: bool) -> None:
    """Let the invented people in where this is the demonstration, and shut them out elsewhere.

    Somebody real of the same name, with a password of their own, is left alone.
    """
    for person in _accounts(work):
        is_shut_out = person.disabled_at is not None
        if is_shut_out is demo and passwords.matches(PASSWORD, person.password_hash):
            accounts.set_open(work, person, is_open=demo)


def _accounts(work: Work) -> Iterator[Person]:
    names = [each.name for each in ACCOUNTS]
    yield from work.session.scalars(select(Person).where(col(Person.name).in_(names)))
