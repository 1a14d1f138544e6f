"""Who is named to whom: members see each other's names, everybody else only those who agreed.

Whoever did not agree is 'a volunteer' to visitors, wherever the library tells who did something.
"""

from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import SQLColumnExpression, case, select
from sqlmodel import col

from server.catalog.held import known
from server.catalog.work import COMMAND, Role, Work
from server.store.people import Person
from server.store.remembered import remembered

SOMEBODY: Final = "a volunteer"
"""What visitors are told of who did not agree to be named."""


def sees_all(work: Work) -> bool:
    """Whether all names are told to whoever acts."""
    return work.actor.role.includes(Role.VOLUNTEER)


def name_of(work: Work, person: Any = Person) -> SQLColumnExpression[Any]:
    """The name that is told of a `person` (or an alias of that table), in SQL."""
    name = col(person.display_name)
    return (
        name
        if sees_all(work)
        else case((col(person.named), name), (col(person.id).is_not(None), SOMEBODY))
    )


@dataclass(frozen=True, slots=True)
class Naming:
    """Which people are not named, by id, and the names that they have."""

    people: frozenset[int]
    names: frozenset[str]

    def __call__(self, name: str, person_id: int | None = None) -> str:
        """What is told of a name; one is kept back while anybody who has it has not agreed."""
        return SOMEBODY if person_id in self.people or name in self.names else name


def naming(work: Work) -> Naming:
    """What is told of names that were written down as they were at the time."""
    if sees_all(work):
        return Naming(frozenset(), frozenset())
    return remembered(work.session, "names that are kept back", lambda: _kept_back(work))


def told_of(work: Work, person_id: int | None) -> str:
    """The name that is told of whoever did something; no person of ours did what a command did."""
    person = None if person_id is None else work.session.get(Person, person_id)
    return naming(work)(person.display_name, person.id) if person else COMMAND.name


def _kept_back(work: Work) -> Naming:
    rows = work.session.execute(
        select(col(Person.id), col(Person.display_name)).where(~col(Person.named))
    ).all()
    return Naming(frozenset(known(row[0]) for row in rows), frozenset(row[1] for row in rows))
