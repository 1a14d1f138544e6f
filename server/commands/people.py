"""`person` and `token`: who may change the archive."""

import sys
from argparse import Namespace
from datetime import datetime
from getpass import getpass

from server.catalog import invitations, scopes, tokens
from server.catalog.accounts import PersonRecord, account_name, create_person
from server.catalog.accounts import people as everybody
from server.catalog.errors import Invalid, NotFound
from server.catalog.invitations import NewInvitation
from server.catalog.work import Actor, Role, Work
from server.commands.archive import plainly, working
from server.commands.console import DONE, give, say, table
from server.inspection import Fields
from server.settings import Settings


class PersonFacts(Fields):
    """Someone with an account; `disabled` is null while they may sign in."""

    id: int
    name: str
    display_name: str
    role: Role
    created: datetime
    seen: datetime | None
    named: bool
    disabled: datetime | None


@plainly
def add(args: Namespace) -> int:
    """Give somebody an account; the first administrator is made this way."""
    password = _from_input() if args.password_stdin else _asked()
    with working() as work:
        person = create_person(work, args.name, password, Role(args.role), args.display_name)
    if args.json:
        give(PersonFacts.model_validate(person))
    else:
        say(f"{person.name} can sign in now, as {person.role}.")
    return DONE


def _from_input() -> str:
    return sys.stdin.readline().rstrip("\r\n")


def _asked() -> str:
    password = getpass("Password: ")
    if getpass("The same again: ") != password:
        raise Invalid("The two passwords differ.", mend="Start again, and type the same twice.")
    return password


@plainly
def show(args: Namespace) -> int:
    """List everybody with an account."""
    with working(writes=False) as work:
        persons = everybody(work)
    if args.json:
        for person in persons:
            give(PersonFacts.model_validate(person))
    else:
        rows = (
            (each.name, each.role, each.display_name, _seen(each), _state(each)) for each in persons
        )
        say(*table(("name", "role", "shown as", "last seen", "account"), rows))
    return DONE


@plainly
def invite(args: Namespace) -> int:
    """Invite somebody, and write the address that leads in: it is told only now."""
    new = NewInvitation.of({"role": args.role, "note": args.note, "days": args.days})
    with working() as work:
        token = invitations.invite(work, new).token
    say(f"{Settings().public_address}/invitations/{token}")
    return DONE


def _seen(person: PersonRecord) -> str:
    return "never" if person.seen is None else f"{person.seen:%Y-%m-%d}"


def _state(person: PersonRecord) -> str:
    return "open" if person.disabled is None else f"disabled on {person.disabled:%Y-%m-%d}"


@plainly
def token(args: Namespace) -> int:
    """Issue a token for a person's programs, and write it: it is told only now."""
    with working() as work:
        own = work.acting_as(_person(work, args.name))
        issued = tokens.issue(own, args.label, allowed=scopes.of_words(args.scope or scopes.Scope))
    say(issued)
    return DONE


def _person(work: Work, name: str) -> Actor:
    for each in everybody(work):
        if each.name == account_name(name) and each.disabled is None:
            return Actor(each.id, each.display_name, each.role)
    raise NotFound(
        f"Nobody called {name} has an open account.",
        where="people",
        mend="See: python -m server person list",
    )
