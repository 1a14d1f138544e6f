"""Accounts: who the people of the club are, and what each may do."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, func, select, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import events, passwords, throttle
from server.catalog.errors import Conflict, Invalid, NotFound
from server.catalog.events import EventRecord, EventType, ObjectKind
from server.catalog.held import by_id
from server.catalog.inputs import Input, Name, RequiredName
from server.catalog.work import Actor, Role, Work
from server.store.people import ApiToken, Passkey, Person, SignIn


class NewPerson(Input):
    """Someone to be given an account. Any characters make a name; it is kept in lower case."""

    name: RequiredName
    role: Role = Role.VOLUNTEER
    display_name: Name = ""


@dataclass(frozen=True, slots=True)
class PersonRecord:
    """Someone with an account."""

    id: int
    name: str
    display_name: str
    role: Role
    created: datetime
    seen: datetime | None
    named: bool
    disabled: datetime | None


def account_name(name: str) -> str:
    """A name as it is stored and compared."""
    return passwords.normalised(name).strip().lower()


def create_person(
    work: Work,
    name: str,
    password: str,
    role: Role = Role.VOLUNTEER,
    display_name: str = "",
) -> PersonRecord:
    """Give someone an account.

    Raises:
        Invalid: the name or the password will not do.
        Conflict: the name is taken.
    """
    work.actor.require(Role.ADMINISTRATOR)
    return enter(work, name, password, role, display_name)


def enter(
    work: Work, name: str, password: str, role: Role, display_name: str, *, by: str = ""
) -> PersonRecord:
    """Make an account, for whoever may have one: `by` says how, where nobody else did it.

    Raises:
        Invalid: the name or the password will not do.
        Conflict: the name is taken.
    """
    new = NewPerson.of({"name": name, "role": role, "display_name": display_name})
    passwords.require_good(password, new.name, new.display_name)
    person = Person(
        name=account_name(new.name),
        display_name=new.display_name or new.name,
        role=new.role,
        password_hash=passwords.hash_of(password),
        created_at=work.now,
        password_changed_at=work.now,
    )
    try:
        with work.session.begin_nested():
            work.session.add(person)
    except IntegrityError:
        raise Conflict(
            f"There is a person called {person.name} already.",
            where="name",
            mend="Choose another name.",
            fields={"name": "this name is taken"},
        ) from None
    own = work.acting_as(actor_of(person)) if by else work
    detail = f"account made with the role {person.role}"
    _log(own, person, f"{detail}, by {by}" if by else detail)
    return _record(person)


def people(work: Work) -> tuple[PersonRecord, ...]:
    """Everybody with an account, by name."""
    work.actor.require(Role.ADMINISTRATOR)
    rows = work.session.scalars(select(Person).order_by(col(Person.name)))
    return tuple(_record(row) for row in rows)


def set_role(work: Work, person_id: int, role: Role) -> PersonRecord:
    """Give a person another role, at once in every browser that they use.

    Raises:
        Conflict: nobody would be left to administer the archive.
    """
    work.actor.require(Role.ADMINISTRATOR)
    person = _person(work, person_id)
    if role is not Role.ADMINISTRATOR:
        _require_another_administrator(work, person)
    before, person.role = person.role, role
    if role != before:
        _log(work, person, f"role changed from {before} to {role}")
    return _record(person)


def disable(work: Work, person_id: int) -> PersonRecord:
    """Shut a person out: every sign-in and token of theirs ends at once. The account is kept.

    Raises:
        Conflict: nobody would be left to administer the archive.
    """
    work.actor.require(Role.ADMINISTRATOR)
    person = _person(work, person_id)
    _require_another_administrator(work, person)
    set_open(work, person, is_open=False)
    return _record(person)


def enable(work: Work, person_id: int) -> PersonRecord:
    """Let a person in again; tokens stay revoked."""
    work.actor.require(Role.ADMINISTRATOR)
    person = _person(work, person_id)
    set_open(work, person, is_open=True)
    return _record(person)


def set_open(work: Work, person: Person, *, is_open: bool) -> None:
    """Open an account, or close it and end every sign-in and token of it."""
    assert person.id is not None
    if is_open:
        person.disabled_at = None
    else:
        person.disabled_at = person.disabled_at or work.now
        _end_all(work, person.id)
    _log(work, person, "account enabled" if is_open else "account disabled")


def change_password(work: Work, old: str, new: str) -> None:
    """Give oneself another password, ending all of one's sign-ins and tokens.

    Raises:
        Invalid: the old one is wrong, or the new one will not do.
    """
    work.actor.require(Role.VOLUNTEER)
    _set_password(work, require_password(work, old, "old"), new)


def require_password(work: Work, password: str, field: str) -> Person:
    """The person who acts, if `password` is theirs: asked again before what opens doors.

    Raises:
        Invalid: it is not; said of the `field` that held it.
        TooManyAttempts: it was tried too often.
    """
    person = _person(work, work.actor.person_id)
    throttle.require_patience(work, person.name)
    if not passwords.matches(password, person.password_hash):
        name = person.name
        work.afterwards.append(lambda later: throttle.count_failure(later, name))
        raise Invalid(
            f"The {field} password is wrong." if field == "old" else "The password is wrong.",
            where="password",
            mend="Give the password with which you signed in.",
            fields={field: "this is not your password"},
        )
    throttle.forget_failures(work, person.name)
    return person


def reset_password(work: Work, person_id: int, new: str) -> None:
    """Give somebody else a new password, ending all of their sign-ins and tokens.

    Their passkeys go too: whoever had the old password may have added one.
    """
    work.actor.require(Role.ADMINISTRATOR)
    person = _person(work, person_id)
    _set_password(work, person, new)
    gone = work.session.execute(
        delete(Passkey).where(col(Passkey.person_id) == person_id).returning(col(Passkey.name))
    )
    for (name,) in gone.all():
        _log(work, person, f"passkey {name} removed with the password")


def be_named(work: Work, *, named: bool) -> None:
    """Agree that visitors are told one's name beside what one did; or take that back."""
    work.actor.require(Role.VOLUNTEER)
    person = _person(work, own_id(work, "account"))
    if person.named is not named:
        person.named = named
        _log(work, person, "agreed to be named" if named else "no longer agrees to be named")


def own(work: Work) -> PersonRecord:
    """The account of whoever acts."""
    work.actor.require(Role.VOLUNTEER)
    return _record(_person(work, own_id(work, "account")))


def get(work: Work, person_id: int) -> PersonRecord:
    """Somebody with an account.

    Raises:
        NotFound: there is no such person.
    """
    work.actor.require(Role.ADMINISTRATOR)
    return _record(_person(work, person_id))


def history(work: Work, person_id: int) -> tuple[EventRecord, ...]:
    """What was done to an account, newest first: one's own, or for administrators anybody's."""
    own_account = work.actor.person_id == person_id
    work.actor.require(Role.VOLUNTEER if own_account else Role.ADMINISTRATOR)
    return events.of(work, ObjectKind.PERSON, person_id)


def see(work: Work, person_id: int | None) -> None:
    """Note that a person was here now."""
    work.session.execute(update(Person).where(col(Person.id) == person_id).values(seen_at=work.now))


def own_id(work: Work, where: str) -> int:
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


def actor_of(person: Person) -> Actor:
    """The person as one who acts."""
    return Actor(person.id, person.display_name, Role(person.role))


def _set_password(work: Work, person: Person, new: str) -> None:
    passwords.require_good(new, person.name, person.display_name)
    person.password_hash = passwords.hash_of(new)
    person.password_changed_at = work.now
    assert person.id is not None
    _end_all(work, person.id)
    _log(work, person, "password changed")


def _end_all(work: Work, person_id: int) -> None:
    work.session.execute(delete(SignIn).where(col(SignIn.person_id) == person_id))
    work.session.execute(
        update(ApiToken)
        .where(col(ApiToken.person_id) == person_id, col(ApiToken.revoked_at).is_(None))
        .values(revoked_at=work.now)
    )


def _require_another_administrator(work: Work, person: Person) -> None:
    others = work.session.scalar(
        select(func.count())
        .select_from(Person)
        .where(
            col(Person.role) == Role.ADMINISTRATOR,
            col(Person.disabled_at).is_(None),
            col(Person.id) != person.id,
        )
    )
    if person.role == Role.ADMINISTRATOR and not others:
        raise Conflict(
            f"{person.display_name} is the only administrator.",
            where=person.name,
            mend="Make somebody else an administrator first.",
        )


def _person(work: Work, person_id: int | None) -> Person:
    person = by_id(work, Person, person_id) if person_id is not None else None
    if person is None:
        raise NotFound(
            f"There is no person {person_id}.", where="people", mend="Look in the list of people."
        )
    return person


def _log(work: Work, person: Person, detail: str) -> None:
    assert person.id is not None
    events.record(work, EventType.ACCOUNT, ObjectKind.PERSON, person.id, detail=detail)


def _record(person: Person) -> PersonRecord:
    assert person.id is not None
    return PersonRecord(
        id=person.id,
        name=person.name,
        display_name=person.display_name,
        role=Role(person.role),
        created=person.created_at,
        seen=person.seen_at,
        named=person.named,
        disabled=person.disabled_at,
    )
