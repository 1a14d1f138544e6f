"""Undoing the entering of a program, and what was done to its versions."""

from collections.abc import Mapping
from typing import Final

from sqlalchemy import exists, func, or_, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import changes, events, program_records, versions
from server.catalog.errors import ArchiveError
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import program_ever, program_of
from server.catalog.history.inverses import Inverse, why_undone
from server.catalog.work import Role, Work
from server.store.events import Event
from server.store.programs import Program, ProgramLink, Version
from server.store.tapes import Tape


def stands_on(work: Work, program: Program) -> str:
    """What hangs on a program, in a sentence; empty where nothing does."""
    versions_held = _count(work, Version, col(Version.program_id) == program.id)
    tapes_held = _count(work, Tape, col(Tape.program_id) == program.id)
    either = or_(col(ProgramLink.program_id) == program.id, col(ProgramLink.other_id) == program.id)
    linked = work.session.scalar(select(exists().where(either)))
    merged = _count(work, Program, col(Program.merged_into_id) == program.id)
    held = [
        words
        for there, words in (
            (versions_held, "versions"),
            (tapes_held, "tapes"),
            (linked, "links"),
            (merged, "programs merged into it"),
        )
        if there
    ]
    return f"{program.title} has {', '.join(held)} by now." if held else ""


def _count(work: Work, table: type, condition: object) -> int:
    counted = select(func.count()).select_from(table).where(condition)  # type: ignore[arg-type]  # a column's comparison
    return work.session.scalar(counted) or 0


def _create_refused(work: Work, event: Event) -> str:
    try:
        program = program_of(work, int(event.object_key), to_change=True)
    except ArchiveError as gone:
        return gone.what
    held = stands_on(work, program)
    return f"{held} Put them elsewhere first." if held else ""


def _withdraw(work: Work, event: Event, why: str) -> None:
    program = program_of(work, int(event.object_key), to_change=True)
    withdraw(work, program, why_undone(event, why), event.id)


def withdraw(
    work: Work, program: Program, why: str, corrects: int | None, part_of: int | None = None
) -> None:
    """Take a program out of the lists; its record, its number and its history stay."""
    program.withdrawn_at = work.now
    program.revision += 1
    program.updated_at = work.now
    program_records.take_out(work, program)
    facts = {"action": "withdraw program", **({"part_of": part_of} if part_of else {})}
    _log(work, program.id or 0, f"withdrawn: {why}", facts, corrects)


def _withdrawn_refused(work: Work, event: Event) -> str:
    program = program_ever(work, int(event.object_key), to_change=True)
    return "" if program.withdrawn_at is not None else f"{program.title} is not withdrawn."


def _bring_back(work: Work, event: Event, why: str) -> None:
    program = program_ever(work, int(event.object_key), to_change=True)
    program.withdrawn_at = None
    program.revision += 1
    program.updated_at = work.now
    work.session.flush()
    program_records.index(work, program)
    facts = {"action": "create program"}
    _log(work, program.id or 0, f"brought back: {why_undone(event, why)}", facts, event.id)


def _log(
    work: Work, program_id: int, detail: str, facts: Mapping[str, object], corrects: int | None
) -> None:
    kind = EventType.MODIFICATION
    events.record(
        work, kind, ObjectKind.PROGRAM, program_id, detail=detail, facts=facts, corrects=corrects
    )


def _version_refused(work: Work, event: Event) -> str:
    version = versions.of_image(work, int(event.object_key), event.facts["image"])
    if version is None:
        return "The program has no such version any more."
    return versions.refuses_to_go(work, version)


def _take_version_out(work: Work, event: Event, why: str) -> None:
    version = versions.of_image(work, int(event.object_key), event.facts["image"])
    assert version is not None
    versions.take_out(work, version, why_undone(event, why), event.id)


def _put_in_refused(work: Work, event: Event) -> str:
    try:
        program = program_of(work, versions.present_program(work, int(event.object_key)))
        versions.require_room(work, program, event.facts["label"], event.facts["image"])
    except ArchiveError as refusal:
        return refusal.what
    return ""


def _put_version_in(work: Work, event: Event, why: str) -> None:
    versions.put_in(work, event, why_undone(event, why))


def _version_change_refused(work: Work, event: Event) -> str:
    version = versions.of_image(work, int(event.object_key), event.facts["image"])
    if version is None:
        return "The program has no such version any more."
    for field, told in event.facts["after"].items():
        if changes.plain(getattr(version, field)) != told:
            return f"“{field}” of the version was changed again since. Undo that first."
    return ""


def _change_version_back(work: Work, event: Event, why: str) -> None:
    version = versions.of_image(work, int(event.object_key), event.facts["image"])
    assert version is not None
    try:
        versions.apply(work, version, event.facts["before"], why_undone(event, why), event.id)
        work.session.flush()
    except IntegrityError as error:
        raise versions.taken(version.label, event.facts["image"], error) from None


CREATED: Final = Inverse(Role.ARCHIVIST, _create_refused, _withdraw)
WITHDRAWN: Final = Inverse(Role.ARCHIVIST, _withdrawn_refused, _bring_back)
VERSION_ADDED: Final = Inverse(Role.ARCHIVIST, _version_refused, _take_version_out)
VERSION_TAKEN_OUT: Final = Inverse(Role.ARCHIVIST, _put_in_refused, _put_version_in)
VERSION_CHANGED: Final = Inverse(Role.ARCHIVIST, _version_change_refused, _change_version_back)
