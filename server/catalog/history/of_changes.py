"""Undoing a change of what is said of a tape, a program or a condition report."""

from collections.abc import Callable, Mapping
from datetime import date
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from sqlalchemy import select
from sqlmodel import col

from server.catalog import (
    changes,
    condition,
    program_records,
    programs,
    report_corrections,
    tapes,
)
from server.catalog.errors import ArchiveError
from server.catalog.events import ObjectKind
from server.catalog.held import may_lock, program_of, tape_of
from server.catalog.history.inverses import Inverse, later_change, why_undone
from server.catalog.work import Role, Work
from server.store.condition import ConditionReport
from server.store.events import Event
from server.store.rights import NumberGiven
from server.store.tapes import Tape

DAYS: Final = frozenset({"checked_on", "next_check"})


class Subject(NamedTuple):
    """A kind of record: how its row is found by the key of an entry, and set back."""

    row: Callable[[Work, str], Any]
    put: Callable[[Work, Any, Mapping[str, Any], str, Mapping[str, Any]], None]


def tape_by(work: Work, number: str) -> Tape:
    """The tape that has, or once had, an accession number.

    Raises:
        NotFound: no tape ever had it.
    """
    present = work.session.scalar(
        select(col(Tape.accession_number))
        .join(NumberGiven, col(NumberGiven.tape_id) == col(Tape.id))
        .where(col(NumberGiven.number) == number)
    )
    return tape_of(work, present or number, to_change=True)


def _put_tape(
    work: Work, tape: Tape, values: Mapping[str, Any], why: str, log: Mapping[str, Any]
) -> None:
    tapes.put_back(work, tape, values, why=why, **log)


def _program(work: Work, key: str) -> Any:
    return program_of(work, int(key), to_change=True)


def _put_program(
    work: Work, program: Any, values: Mapping[str, Any], why: str, log: Mapping[str, Any]
) -> None:
    work.actor.require(Role.ARCHIVIST)
    worded = programs.worded(work, values)
    changes.apply(work, program, worded, ObjectKind.PROGRAM, program.id, why=why, **log)
    program_records.index(work, program)


def _report(work: Work, key: str) -> ConditionReport:
    number = condition.get(work, int(key)).tape
    tape_of(work, number, to_change=True)
    lock = True if may_lock(work) else None
    return work.session.get_one(ConditionReport, int(key), with_for_update=lock)


def _put_report(
    work: Work, report: Any, values: Mapping[str, Any], why: str, log: Mapping[str, Any]
) -> None:
    report_corrections.put_back(work, report, values, why=why, **log)


SUBJECTS: Final[Mapping[str, Subject]] = MappingProxyType(
    {
        ObjectKind.TAPE: Subject(tape_by, _put_tape),
        ObjectKind.PROGRAM: Subject(_program, _put_program),
        ObjectKind.REPORT: Subject(_report, _put_report),
    }
)


def _refuses(work: Work, event: Event) -> str:
    try:
        row = SUBJECTS[event.object_kind].row(work, event.object_key)
    except ArchiveError as gone:
        return gone.what
    for field, told in event.facts["after"].items():
        if not hasattr(row, field):
            return f"Records have no “{field.replace('_', ' ')}” any more."
        if changes.plain(getattr(row, field)) != told:
            later = later_change(work, event, field)
            return f"“{field.replace('_', ' ')}” was changed again since{later}. Undo that first."
    return ""


def _undoes(work: Work, event: Event, why: str) -> None:
    subject = SUBJECTS[event.object_kind]
    row = subject.row(work, event.object_key)
    values = {field: _value(field, told) for field, told in event.facts["before"].items()}
    subject.put(work, row, values, why_undone(event, why), {"corrects": event.id})


def _value(field: str, told: Any) -> Any:
    return date.fromisoformat(told) if field in DAYS and told else told


CHANGES: Final[Mapping[str, Inverse]] = MappingProxyType(
    {
        ObjectKind.TAPE: Inverse(Role.VOLUNTEER, _refuses, _undoes),
        ObjectKind.PROGRAM: Inverse(Role.ARCHIVIST, _refuses, _undoes),
        ObjectKind.REPORT: Inverse(Role.VOLUNTEER, _refuses, _undoes),
    }
)
"""By the kind of record; who may set what back is the same as for a change of it."""
