"""Links between programs: one uses, continues, adapts or translates another."""

from typing import Any

from sqlalchemy import select
from sqlmodel import col

from server.catalog import events, program_records
from server.catalog.errors import Conflict, NotFound, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import by_id, known, program_of
from server.catalog.program_values import LinkKind, NewLink, ProgramRecord
from server.catalog.work import Role, Work
from server.store.programs import Program, ProgramLink

ORDERED = frozenset(LinkKind) - {LinkKind.USES}
"""Kinds that lead back in time, so that no way along them ends where it began."""


def add(work: Work, program_id: int, new: NewLink) -> ProgramRecord:
    """Link a program to another one.

    Raises:
        NotFound: there is no such program.
        Invalid: there is no such other program, or it is the same.
        Conflict: they are linked so already, or the other one follows on this one.
    """
    work.actor.require(Role.ARCHIVIST)
    program = program_of(work, program_id, to_change=True)
    other = _other(work, program, new.other)
    make(work, program, other, new.kind, new.note)
    return program_records.record_of(work, program)


def make(
    work: Work,
    program: Program,
    other: Program,
    kind: LinkKind,
    note: str,
    why: str = "",
    corrects: int | None = None,
) -> None:
    """Make a link, and log it with both programs.

    Raises:
        Conflict: they are linked so already, or the other one follows on this one.
    """
    require_room(work, program, other, kind)
    link = keep(work, program, other, kind, note)
    _log(work, "link", link, (program, other), why, corrects)


def keep(work: Work, program: Program, other: Program, kind: LinkKind, note: str) -> ProgramLink:
    """Keep a link, as a part of something that is logged as a whole."""
    link = ProgramLink(
        program_id=known(program.id),
        kind=kind,
        other_id=known(other.id),
        note=note,
        made_at=work.now,
        made_by_id=work.actor.person_id,
    )
    work.session.add(link)
    work.session.flush()
    return link


def remove(work: Work, program_id: int, link_id: int) -> ProgramRecord:
    """Take a link away; both histories keep it.

    Raises:
        NotFound: there is no such program, or it has no such link.
    """
    work.actor.require(Role.ARCHIVIST)
    program = program_of(work, program_id)
    link = by_id(work, ProgramLink, link_id)
    if link is None or program.id not in (link.program_id, link.other_id):
        raise NotFound(
            f"{program.title} has no link of number {link_id}.",
            where=str(link_id),
            mend="Look at the links of the program.",
        )
    unmake(work, link)
    return program_records.record_of(work, program)


def unmake(work: Work, link: ProgramLink, why: str = "", corrects: int | None = None) -> None:
    """Take a link away, and log it with both programs."""
    programs = (
        work.session.get_one(Program, link.program_id),
        work.session.get_one(Program, link.other_id),
    )
    _log(work, "unlink", link, programs, why, corrects)
    work.session.delete(link)
    work.session.flush()


def find(work: Work, program_id: int, kind: str, other_id: int) -> ProgramLink | None:
    """The link of that kind between two programs, if there is one."""
    return work.session.scalar(
        select(ProgramLink).where(
            col(ProgramLink.program_id) == program_id,
            col(ProgramLink.kind) == kind,
            col(ProgramLink.other_id) == other_id,
        )
    )


def require_room(work: Work, program: Program, other: Program, kind: LinkKind) -> None:
    """Nothing, if a link may be made.

    Raises:
        Conflict: they are linked so already, or the other one follows on this one.
    """
    if find(work, known(program.id), kind, known(other.id)) is not None:
        raise Conflict(
            f"{program.title} has that link to {other.title} already.",
            where=other.title,
            mend="Look at the links of the program.",
            fields={"other": "it is linked so already"},
        )
    if kind in ORDERED and _leads_to(work, known(other.id), known(program.id)):
        raise Conflict(
            f"{other.title} follows on {program.title}: it cannot also come before it.",
            where=other.title,
            mend="Look at the links of both, and take the wrong one away.",
            fields={"other": "it follows on this program already"},
        )


def _leads_to(work: Work, start: int, target: int) -> bool:
    """Whether the links that lead back in time reach one program from another."""
    waiting, seen = [start], {start}
    while waiting:
        reached = work.session.scalars(
            select(col(ProgramLink.other_id)).where(
                col(ProgramLink.program_id).in_(waiting), col(ProgramLink.kind).in_(ORDERED)
            )
        ).all()
        waiting = [each for each in reached if each not in seen]
        seen.update(waiting)
    return target in seen


def _other(work: Work, program: Program, other_id: int) -> Program:
    if other_id == program.id:
        raise refused("other", "this is the program itself", "Choose another program.")
    try:
        return program_of(work, other_id)
    except NotFound as missing:
        raise refused("other", "there is no such program", missing.mend) from None


def _log(
    work: Work,
    action: str,
    link: ProgramLink,
    programs: tuple[Program, Program],
    why: str,
    corrects: int | None,
) -> None:
    """One entry with the program that the link begins at, and one as a part of it."""
    program, other = programs
    told = {"program": link.program_id, "kind": link.kind, "other": link.other_id}
    facts: dict[str, Any] = {"action": action, "link": {**told, "note": link.note}}
    how = "link added" if action == "link" else "link taken away"
    because = f": {why}" if why else ""
    kind = LinkKind(link.kind)
    entry = events.record(
        work,
        EventType.MODIFICATION,
        ObjectKind.PROGRAM,
        known(program.id),
        detail=f"{how}: {kind} {other.title}{because}",
        facts=facts,
        corrects=corrects,
    )
    work.session.flush()
    events.record(
        work,
        EventType.MODIFICATION,
        ObjectKind.PROGRAM,
        known(other.id),
        detail=f"{how}: {kind.backwards} {program.title}{because}",
        facts={**facts, "part_of": entry.id},
    )
