"""The event log: what was done, by whom, to what. It only grows.

Types are labels of the Library of Congress list of preservation event types (PREMIS; from
memory) where that list has one; `LOCAL` names those that are ours.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, Final

from sqlalchemy import select
from sqlmodel import col

from server.catalog import named
from server.catalog.named import Naming
from server.catalog.work import Work
from server.store.events import Event


class EventType(StrEnum):
    """What was done."""

    CAPTURE = "capture"
    INGESTION = "ingestion"
    DIGEST = "message digest calculation"
    IDENTIFICATION = "format identification"
    FIXITY = "fixity check"
    REPLICATION = "replication"
    VALIDATION = "validation"
    ACCESSION = "accession"
    CREATION = "creation"
    MODIFICATION = "metadata modification"
    DEACCESSION = "deaccession"
    POLICY = "policy assignment"
    DISSEMINATION = "dissemination"
    QUARANTINE = "quarantine"
    UNQUARANTINE = "unquarantine"
    CONDITION = "condition check"
    VERIFICATION = "verification"
    ACCOUNT = "account change"
    FAMILY = "family decision"
    PUNCHING = "punching"
    MERGING = "merging"
    SETTLEMENT = "settlement by eye"
    OWN_LIST = "own list"
    MOVEMENT = "movement"
    LOAN = "loan"
    REQUEST = "request"
    SHELF_CHECK = "shelf check"
    RUNNING = "permission to run"
    IMAGING = "imaging"
    DELETION = "deletion"


LOCAL = frozenset(
    {
        EventType.CONDITION,
        EventType.VERIFICATION,
        EventType.ACCOUNT,
        EventType.FAMILY,
        EventType.PUNCHING,
        EventType.MERGING,
        EventType.SETTLEMENT,
        EventType.OWN_LIST,
        EventType.MOVEMENT,
        EventType.LOAN,
        EventType.REQUEST,
        EventType.SHELF_CHECK,
        EventType.RUNNING,
    }
)


class ObjectKind(StrEnum):
    """What it was done to; the key is a SHA-256, an accession number, or an id."""

    IMAGE = "image"
    TAPE = "tape"
    PROGRAM = "program"
    REPORT = "condition-report"
    PERSON = "person"
    INVITATION = "invitation"
    PUNCHING = "punching"
    VOCABULARY = "vocabulary"
    PLACE = "place"
    LOAN = "loan"
    REQUEST = "request"
    SHELF_CHECK = "shelf-check"
    LIBRARY = "library"
    """All of it; the key is always `WHOLE`."""


WHOLE: Final = "whole"


@dataclass(frozen=True, slots=True)
class EventRecord:
    """One entry of the log."""

    id: int
    type: EventType
    at: datetime
    by: str
    outcome: str
    detail: str
    facts: dict[str, Any]
    corrects: int | None


def record(
    work: Work,
    kind: EventType,
    object_kind: ObjectKind,
    key: str | int,
    *,
    outcome: str = "success",
    detail: str = "",
    facts: Mapping[str, Any] | None = None,
    agent: str | None = None,
    anonymous: bool = False,
    corrects: int | None = None,
) -> Event:
    """Add an entry: `facts` are JSON values, `agent` a program with its release.

    An `anonymous` entry says nothing of who acted; `corrects` is the entry that this one undoes.
    """
    person = None if anonymous else work.actor.person_id
    name = "anybody" if anonymous else work.actor.name
    entry = Event(
        type=kind,
        occurred_at=work.now,
        object_kind=object_kind,
        object_key=str(key),
        person_id=person,
        agent=agent or name,
        outcome=outcome,
        detail=detail,
        facts=dict(facts or {}),
        corrects_id=corrects,
    )
    work.session.add(entry)
    return entry


def of(work: Work, object_kind: ObjectKind, key: str | int) -> tuple[EventRecord, ...]:
    """What was done to one object, newest first."""
    rows = work.session.scalars(
        select(Event)
        .where(col(Event.object_kind) == object_kind, col(Event.object_key) == str(key))
        .order_by(col(Event.id).desc())
    )
    naming = named.naming(work)
    return tuple(_record(row, naming) for row in rows)


def _record(row: Event, naming: Naming) -> EventRecord:
    assert row.id is not None
    return EventRecord(
        id=row.id,
        type=EventType(row.type),
        at=row.occurred_at,
        by=naming(row.agent, row.person_id),
        outcome=row.outcome,
        detail=row.detail,
        facts=row.facts,
        corrects=row.corrects_id,
    )
