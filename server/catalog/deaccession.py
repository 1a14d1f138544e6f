"""Deaccession: a tape leaves the collection; its record, its number and what was read of it stay.

It can come back, which is one more event and undoes nothing: that it was away is still told.
"""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated

from pydantic import Field
from sqlalchemy import select
from sqlalchemy.orm import aliased
from sqlmodel import col

from server.catalog import events, movements, named
from server.catalog.errors import Conflict, Invalid
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, tape_of
from server.catalog.inputs import Input, Name, RequiredName, RequiredText, Text
from server.catalog.work import COMMAND, Role, Work
from server.store.people import Person
from server.store.rights import Deaccession
from server.store.tapes import Tape


class Departure(StrEnum):
    """How a tape leaves."""

    GIFT = "given away"
    RETURN = "returned to its donor"
    EXCHANGE = "exchanged"
    SALE = "sold"
    LOSS = "lost or stolen"
    DESTRUCTION = "destroyed"


class NewDeaccession(Input):
    """The decision that a tape leaves: who took it, why, and how it goes."""

    decided_on: Annotated[date, Field(description="Day of the decision.")]
    authority: Annotated[RequiredName, Field(description="Who decided, such as a meeting.")]
    reason: Annotated[RequiredText, Field(description="Why it leaves.")]
    method: Annotated[Departure, Field(description="How it leaves.")]
    recipient: Annotated[Name, Field(description="Who has it now; told to members.")] = ""
    note: Annotated[
        Text,
        Field(description="What was checked of title and donor's terms; told to archivists."),
    ] = ""


class Return(Input):
    """Why a tape is of the collection again."""

    why: Annotated[RequiredText, Field(description="How it came back, and by whose decision.")]


@dataclass(frozen=True, slots=True)
class DeaccessionRecord:
    """That a tape left, and whether it came back since.

    `recipient` and `note` are None for whom they are not meant.
    """

    decided_on: date
    authority: str
    reason: str
    method: Departure
    recipient: str | None
    note: str | None
    recorded: datetime
    by: str
    ended: datetime | None
    ended_by: str | None
    ended_why: str

    @property
    def sentence(self) -> str:
        """That it left, and how, in a sentence."""
        return f"It left the collection on {self.decided_on}: {self.method}."


def of(work: Work, accession_number: str) -> tuple[DeaccessionRecord, ...]:
    """How often a tape left, the last time first; mostly never.

    Raises:
        NotFound: there is no such tape.
    """
    return _of(work, tape_of(work, accession_number))


def record(work: Work, accession_number: str, new: NewDeaccession) -> DeaccessionRecord:
    """Take a tape out of the collection: out of lists and queues, and off its shelf.

    Raises:
        NotFound: there is no such tape.
        Gone: it left already.
        Conflict: it is lent.
        Invalid: the day is still to come.
    """
    work.actor.require(Role.ARCHIVIST)
    if work.is_to_come(new.decided_on):
        raise Invalid(
            f"{new.decided_on} is still to come.",
            where="decided_on",
            mend="Give the day of the decision; record it once it was taken.",
            fields={"decided_on": "this day is still to come"},
        )
    tape = tape_of(work, accession_number, to_change=True)
    movements.leave(work, tape, f"deaccessioned: {new.method}")
    row = Deaccession(
        **new.model_dump(),
        tape_id=known(tape.id),
        made_at=work.now,
        made_by_id=work.actor.person_id,
    )
    work.session.add(row)
    _set(work, tape, new.decided_on)
    events.record(
        work,
        EventType.DEACCESSION,
        ObjectKind.TAPE,
        tape.accession_number,
        outcome=new.method,
        detail=f"{new.reason} ({new.authority})",
        facts=new.model_dump(mode="json", exclude={"note", "recipient"}),
    )
    return _of(work, tape)[0]


def take_back(work: Work, accession_number: str, why: str) -> DeaccessionRecord:
    """Make a tape that left one of the collection again; that it was away stays on record.

    Raises:
        NotFound: there is no such tape.
        Conflict: it never left, or is back already.
        Invalid: it is not said why.
    """
    work.actor.require(Role.ARCHIVIST)
    given = Return.of({"why": why})
    tape = tape_of(work, accession_number, to_change=True, gone_too=True)
    if tape.deaccessioned_on is None:
        raise Conflict(
            f"Tape {accession_number} is in the collection.",
            where=accession_number,
            mend="There is nothing to take back.",
        )
    row = work.session.scalars(
        select(Deaccession)
        .where(col(Deaccession.tape_id) == tape.id)
        .order_by(col(Deaccession.id).desc())
        .limit(1)
    ).one()
    row.ended_at, row.ended_by_id, row.ended_why = work.now, work.actor.person_id, given.why
    _set(work, tape, None)
    events.record(
        work,
        EventType.ACCESSION,
        ObjectKind.TAPE,
        tape.accession_number,
        detail=f"again: {given.why}",
        facts={"why": given.why, "left_on": row.decided_on.isoformat()},
    )
    return _of(work, tape)[0]


def _set(work: Work, tape: Tape, left_on: date | None) -> None:
    tape.deaccessioned_on = left_on
    tape.revision += 1
    tape.updated_at = work.now
    work.session.flush()


def _of(work: Work, tape: Tape) -> tuple[DeaccessionRecord, ...]:
    made, ended = aliased(Person), aliased(Person)
    rows = work.session.execute(
        select(Deaccession, named.name_of(work, made), named.name_of(work, ended))
        .outerjoin(made, col(made.id) == col(Deaccession.made_by_id))
        .outerjoin(ended, col(ended.id) == col(Deaccession.ended_by_id))
        .where(col(Deaccession.tape_id) == tape.id)
        .order_by(col(Deaccession.id).desc())
    )
    role = work.actor.role
    return tuple(
        DeaccessionRecord(
            decided_on=row.decided_on,
            authority=row.authority,
            reason=row.reason,
            method=Departure(row.method),
            recipient=row.recipient if role.includes(Role.VOLUNTEER) else None,
            note=row.note if role.includes(Role.ARCHIVIST) else None,
            recorded=row.made_at,
            by=by or COMMAND.name,
            ended=row.ended_at,
            ended_by=None if row.ended_at is None else ended_by or COMMAND.name,
            ended_why=row.ended_why,
        )
        for row, by, ended_by in rows
    )
