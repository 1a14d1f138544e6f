"""The history of a record: every entry of the log on it, with what each changed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any, Final

from sqlalchemy import ColumnElement, and_, false, func, or_, select
from sqlmodel import col

from server.catalog import condition
from server.catalog.events import ObjectKind
from server.catalog.held import image_id_of, known, program_ever, tape_of
from server.catalog.history.undoing import inverse_of, refusal_of, undone
from server.catalog.inputs import Name
from server.catalog.tape_values import Page, PageQuery
from server.catalog.terms import of_name
from server.catalog.text_changes import TextChange, change_of
from server.catalog.work import Role, Work
from server.store.events import Event
from server.store.programs import Program
from server.store.rights import NumberGiven

FOR_ARCHIVISTS: Final = frozenset({"acquisition_note"})
"""Fields whose texts are told to archivists only."""


class HistoryQuery(PageQuery):
    """Which entries: of one type, or by one person or program."""

    type: Name = ""
    by: Name = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of the log: what was done, what that changed, and whether it can be undone.

    `undone_by` is the entry that undid it; `refusal` says why it cannot be undone, empty where it
    can; `part_of` is the entry that it came with, and `undoable` whether its kind is ever undone.
    """

    id: int
    type: str
    kind: str
    key: str
    at: datetime
    by: str
    outcome: str
    detail: str
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    changes: tuple[TextChange, ...]
    corrects: int | None
    undone_by: int | None
    part_of: int | None
    undoable: bool
    refusal: str


@dataclass(frozen=True, slots=True)
class History:
    """A page of entries, the newest first, and by what they could be narrowed."""

    page: Page[Entry]
    types: tuple[str, ...]
    people: tuple[str, ...]


def of(work: Work, kind: ObjectKind, key: str, query: HistoryQuery) -> History:
    """The history of a record, for people who work here.

    That of a tape goes through all numbers it ever had; that of a program takes in the programs
    that were merged into it.

    Raises:
        NotFound: there never was such a record.
        NotSignedIn: nobody is signed in.
    """
    work.actor.require(Role.VOLUNTEER)
    of_record = or_(false(), *_objects(work, kind, key))
    wanted = of_record
    if query.type:
        wanted &= col(Event.type) == query.type
    if query.by:
        wanted &= col(Event.agent) == query.by
    total = work.session.scalar(select(func.count()).select_from(Event).where(wanted)) or 0
    rows = work.session.scalars(
        select(Event)
        .where(wanted)
        .order_by(col(Event.id).desc())
        .offset((query.page - 1) * query.page_size)
        .limit(query.page_size)
    ).all()
    told = tuple(entry_of(work, row) for row in rows)
    return History(
        Page(told, total, query.page, query.page_size),
        _values(work, col(Event.type), of_record),
        _values(work, col(Event.agent), of_record),
    )


def entry_of(work: Work, event: Event) -> Entry:
    """One entry, as the actor may see it."""
    before, after = _seen(work, event.facts.get("before")), _seen(work, event.facts.get("after"))
    return Entry(
        id=known(event.id),
        type=event.type,
        kind=event.object_kind,
        key=event.object_key,
        at=event.occurred_at,
        by=event.agent,
        outcome=event.outcome,
        detail=event.detail,
        before=before,
        after=after,
        changes=tuple(_changes(work, before, after)),
        corrects=event.corrects_id,
        undone_by=undone(work, event),
        part_of=event.facts.get("part_of"),
        undoable=inverse_of(event) is not None,
        refusal=refusal_of(work, event),
    )


def _objects(work: Work, kind: ObjectKind, key: str) -> Iterator[ColumnElement[bool]]:
    """The conditions that an entry is on the record."""
    for name in _keys(work, kind, key):
        yield and_(col(Event.object_kind) == kind, col(Event.object_key) == name)
    if kind is ObjectKind.REPORT:
        number = condition.get(work, int(key)).tape
        for name in _keys(work, ObjectKind.TAPE, number):
            yield and_(
                col(Event.object_kind) == ObjectKind.TAPE,
                col(Event.object_key) == name,
                col(Event.facts)["report"].as_integer() == int(key),
            )


def _keys(work: Work, kind: ObjectKind, key: str) -> Sequence[str]:
    match kind:
        case ObjectKind.TAPE:
            tape = tape_of(work, key)
            given = select(col(NumberGiven.number)).where(col(NumberGiven.tape_id) == tape.id)
            return work.session.scalars(given).all()
        case ObjectKind.PROGRAM:
            return _with_merged(work, int(key) if key.isdecimal() else 0)
        case ObjectKind.REPORT:
            condition.get(work, int(key) if key.isdecimal() else 0)
        case ObjectKind.IMAGE:
            image_id_of(work, key)
            return [key.lower()]
        case ObjectKind.VOCABULARY:
            of_name(key)
    return [key]


def _with_merged(work: Work, program_id: int) -> list[str]:
    waiting, found = [known(program_ever(work, program_id).id)], []
    while waiting:
        found += waiting
        merged = select(col(Program.id)).where(col(Program.merged_into_id).in_(waiting))
        waiting = [known(each) for each in work.session.scalars(merged)]
    return [str(each) for each in found]


def _values(work: Work, column: Any, wanted: ColumnElement[bool]) -> tuple[str, ...]:
    return tuple(work.session.scalars(select(column).where(wanted).distinct().order_by(column)))


def _seen(work: Work, told: object) -> Mapping[str, Any]:
    """The values of the fields that the actor may see; none where an entry has no fields."""
    if not isinstance(told, dict):
        return MappingProxyType({})
    hidden = frozenset() if work.actor.role.includes(Role.ARCHIVIST) else FOR_ARCHIVISTS
    return {name: value for name, value in told.items() if name not in hidden}


def _changes(
    work: Work, before: Mapping[str, Any], after: Mapping[str, Any]
) -> Iterator[TextChange]:
    for field in dict.fromkeys((*before, *after)):
        left, right = (_told(work, field, side.get(field)) for side in (before, after))
        if left != right:
            yield change_of(field, left, right)


def _told(work: Work, field: str, value: Any) -> str:
    """A value as a person reads it, each part of a list on a line of its own."""
    if value is None or value == "":
        return ""
    if field == "program_id":
        return _program(work, value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return "\n".join(_told(work, "", each) for each in value)
    if isinstance(value, dict):
        parts = ((name, _told(work, "", each)) for name, each in value.items())
        return ", ".join(f"{name.replace('_', ' ')} {part}" for name, part in parts if part)
    return str(value)


def _program(work: Work, program_id: int) -> str:
    held = work.session.get(Program, program_id)
    return f"{held.title} (no. {program_id})" if held else f"no. {program_id}"
