"""Invitations: a link with which somebody gives themselves an account, once and before long.

Only the SHA-256 of the link's token is kept, so that a stolen database invites nobody.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Annotated, Final

from pydantic import Field
from sqlalchemy import select, update
from sqlmodel import col

from server.catalog import accounts, events, people, tokens
from server.catalog.errors import Conflict, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import by_id, known
from server.catalog.inputs import Input, Name, RequiredName
from server.catalog.people import SessionLimits, SignedIn
from server.catalog.work import COMMAND, Actor, Role, Work
from server.store.people import Invitation, Person

DAYS: Final = 7
"""How long an invitation holds, unless it is said otherwise."""

MOST_DAYS: Final = 30


class State(StrEnum):
    """What has become of an invitation."""

    OPEN = "open"
    USED = "used"
    WITHDRAWN = "withdrawn"
    EXPIRED = "expired"


class NewInvitation(Input):
    """Whom to invite: `note` says who is meant, for those who keep the list."""

    role: Role = Role.VOLUNTEER
    note: Name = ""
    days: Annotated[int, Field(ge=1, le=MOST_DAYS)] = DAYS


class Newcomer(Input):
    """What somebody who was invited says of themselves; a password goes beside it."""

    name: RequiredName
    display_name: Name = ""
    named: bool = False


@dataclass(frozen=True, slots=True)
class InvitationRecord:
    """An invitation: who made it, what for, and what has become of it."""

    id: int
    role: Role
    note: str
    by: str
    made: datetime
    expires: datetime
    state: State
    person: str | None


@dataclass(frozen=True, slots=True)
class Invited:
    """An invitation just made: the token is told only now."""

    token: str
    record: InvitationRecord


def invite(work: Work, new: NewInvitation) -> Invited:
    """Make a link for one person to come in by, with the role that they will have.

    Raises:
        Conflict: visitors need no invitation.
    """
    work.actor.require(Role.ADMINISTRATOR)
    if new.role is Role.VISITOR:
        raise Conflict(
            "A visitor needs no account.",
            where="role",
            mend="Choose what the person will do here.",
            fields={"role": "choose another role"},
        )
    token = tokens.new_token()
    row = Invitation(
        token_hash=tokens.kept(token),
        role=new.role,
        note=new.note,
        invited_by_id=work.actor.person_id,
        created_at=work.now,
        expires_at=work.now + timedelta(days=new.days),
    )
    work.session.add(row)
    work.session.flush()
    detail = f"invited as {row.role}, until {row.expires_at:%Y-%m-%d}"
    _log(work, row, f"{detail}: {row.note}" if row.note else detail)
    return Invited(token, _record(work, row, work.actor.name, None))


def page(work: Work, most: int = 100) -> tuple[InvitationRecord, ...]:
    """The newest invitations, whatever became of them."""
    work.actor.require(Role.ADMINISTRATOR)
    inviter = select(Person).subquery()
    rows = work.session.execute(
        select(Invitation, inviter.c.display_name, col(Person.display_name))
        .outerjoin(inviter, inviter.c.id == col(Invitation.invited_by_id))
        .outerjoin(Person, col(Person.id) == col(Invitation.person_id))
        .order_by(col(Invitation.id).desc())
        .limit(most)
    )
    return tuple(_record(work, row, by, person) for row, by, person in rows)


def withdraw(work: Work, invitation_id: int) -> None:
    """Make the link of an invitation lead nowhere.

    Raises:
        NotFound: there is no such invitation.
        Conflict: somebody came in by it already.
    """
    work.actor.require(Role.ADMINISTRATOR)
    row = by_id(work, Invitation, invitation_id)
    if row is None:
        raise NotFound(
            f"There is no invitation {invitation_id}.",
            where="invitations",
            mend="Look in the list of invitations.",
        )
    if row.used_at is not None:
        raise Conflict(
            f"Somebody came in by invitation {invitation_id} already.",
            where="invitations",
            mend="Shut the person out instead, if that is what is needed.",
        )
    if row.withdrawn_at is None:
        row.withdrawn_at = work.now
        _log(work, row, "invitation withdrawn")


def role_of(work: Work, token: str) -> Role:
    """The role that the bearer of a link is invited to.

    Raises:
        NotFound: the link leads nowhere: it was used, was withdrawn, is too old, or never was.
    """
    return Role(_open(work, token).role)


def accept(
    work: Work,
    token: str,
    newcomer: Newcomer,
    password: str,
    limits: SessionLimits | None = None,
    browser: str = "",
) -> SignedIn:
    """Give the bearer of a link the account that they were invited to, and sign them in.

    The link is used up.

    Raises:
        NotFound: the link leads nowhere.
        Invalid: the name or the password will not do.
        Conflict: the name is taken.
    """
    row = _open(work, token)
    used = work.session.execute(
        update(Invitation)
        .where(col(Invitation.id) == row.id, col(Invitation.used_at).is_(None))
        .values(used_at=work.now)
        .returning(col(Invitation.id))
    )
    if used.first() is None:
        raise _leads_nowhere()
    person = accounts.enter(
        work,
        newcomer.name,
        password,
        Role(row.role),
        newcomer.display_name,
        by=f"invitation {row.id}",
    )
    work.session.refresh(row)
    row.person_id = person.id
    own = work.acting_as(Actor(person.id, person.display_name, person.role))
    if newcomer.named:
        accounts.be_named(own, named=True)
    _log(own, row, "invitation used")
    came = work.session.get_one(Person, person.id)
    return people.begin(own, came, limits or SessionLimits(), browser)


def _open(work: Work, token: str) -> Invitation:
    row = work.session.scalar(
        select(Invitation).where(col(Invitation.token_hash) == tokens.kept(token))
    )
    if row is None or _state(work, row) is not State.OPEN:
        raise _leads_nowhere()
    return row


def _leads_nowhere() -> NotFound:
    return NotFound(
        "This invitation leads nowhere: it was used or withdrawn, it is too old, or a part of"
        " its address is missing.",
        where="invitation",
        mend="Ask whoever invited you for another.",
    )


def _state(work: Work, row: Invitation) -> State:
    if row.used_at is not None:
        return State.USED
    if row.withdrawn_at is not None:
        return State.WITHDRAWN
    return State.EXPIRED if work.now >= row.expires_at else State.OPEN


def _log(work: Work, row: Invitation, detail: str) -> None:
    events.record(work, EventType.ACCOUNT, ObjectKind.INVITATION, known(row.id), detail=detail)


def _record(work: Work, row: Invitation, by: str | None, person: str | None) -> InvitationRecord:
    return InvitationRecord(
        id=known(row.id),
        role=Role(row.role),
        note=row.note,
        by=by or COMMAND.name,
        made=row.created_at,
        expires=row.expires_at,
        state=_state(work, row),
        person=person,
    )
