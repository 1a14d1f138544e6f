"""Merging one program into another: nothing is lost, and the old address leads to the new one.

What the surviving program says stays. Where it says nothing, it takes what the other one said, and
the titles of the other become variant titles; all the rest stays in the history.
"""

from typing import Annotated, Any, Final

from pydantic import Field
from sqlalchemy import select
from sqlmodel import col

from server.catalog import changes, events, links, program_records
from server.catalog import program_parts as parts
from server.catalog.errors import ArchiveError, Conflict, NotFound, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, program_of
from server.catalog.inputs import Input, Text
from server.catalog.program_parts import Facts
from server.catalog.program_values import LinkKind, ProgramRecord
from server.catalog.tape_values import RecordNumber
from server.catalog.versions import TOLD, refuses_to_go
from server.catalog.work import Role, Work
from server.store.loans import TapeRequest
from server.store.programs import Program, ProgramLink, Version

FILLED: Final = (
    "language",
    "machine",
    "memory",
    "peripherals",
    "description",
    "instructions",
    "faults",
    "attributions",
    "rights",
    "rights_uri",
    "licence",
)
"""What the surviving program takes from the other one where it says nothing itself."""


class NewProgramMerge(Input):
    """Into which program another one is merged, and why."""

    into: RecordNumber
    note: Annotated[Text, Field(description="Why the two are one.")] = ""


def merge(
    work: Work, program_id: int, new: NewProgramMerge, corrects: int | None = None
) -> ProgramRecord:
    """Merge a program into another one; gives that.

    Raises:
        NotFound: there is no such program.
        Invalid: there is no such other program, or it is the same.
        Conflict: not the same people may see the two, or both have a load sheet or punchings of
            a version from the same image.
    """
    work.actor.require(Role.ARCHIVIST)
    gone = program_of(work, program_id, to_change=True)
    into = _into(work, gone, new.into)
    if gone.access != into.access:
        raise Conflict(
            f"{gone.title} may be seen by others than {into.title}.",
            where=gone.title,
            mend="Let the same people see both, and then merge them.",
        )
    tapes = parts.tapes_of(work, gone)
    facts: Facts = {
        "action": "merge programs",
        "program": known(gone.id),
        "into": known(into.id),
        **_move_versions(work, gone, into),
        "tapes": [tape.accession_number for tape in tapes],
        "links": _move_links(work, gone, into),
        "requests": _move_requests(work, gone, into),
        "fields": _fill(work, gone, into),
    }
    gone.merged_into_id = into.id
    gone.revision += 1
    gone.updated_at = work.now
    entry = _log(work, gone, into, new.note, facts, corrects)
    parts.move_tapes(work, tapes, into, f"{gone.title} was merged into {into.title}", entry)
    program_records.take_out(work, gone)
    program_records.index(work, into)
    return program_records.record_of(work, into)


def _into(work: Work, gone: Program, into_id: int) -> Program:
    if into_id == gone.id:
        raise refused("into", "this is the program itself", "Choose another program.")
    try:
        return program_of(work, into_id, to_change=True)
    except NotFound as missing:
        raise refused("into", "there is no such program", missing.mend) from None


def _move_versions(work: Work, gone: Program, into: Program) -> Facts:
    """Put the versions to the other program; of one image it needs but one version."""
    held = parts.versions_of(work, into)
    images, labels = {sha256 for _, sha256 in held}, {version.label for version, _ in held}
    moved, dropped = [], []
    for version, sha256 in parts.versions_of(work, gone):
        if sha256 in images:
            dropped.append(_drop(work, version, sha256, into))
            continue
        before = version.label
        label = parts.free_label(before, labels, gone.title)
        parts.move_version(work, version, into, label)
        labels.add(label)
        moved.append({"image": sha256, "before": before, "label": label})
    return {"versions": moved, "dropped": dropped}


def _drop(work: Work, version: Version, sha256: str, into: Program) -> dict[str, str]:
    refusal = refuses_to_go(work, version)
    if refusal:
        raise Conflict(
            f"{into.title} has a version from the same image. {refusal}",
            where=version.label,
            mend="Merge the other way round, so that this version is the one that stays.",
        )
    told = {name: str(getattr(version, name)) for name in TOLD}
    work.session.delete(version)
    work.session.flush()
    return {"image": sha256, **told}


def _move_links(work: Work, gone: Program, into: Program) -> list[dict[str, Any]]:
    """Let the links lead to the other program; what would lead to itself, or twice, goes."""
    told = []
    for link in parts.links_of(work, gone):
        before = {"program": link.program_id, "kind": link.kind, "other": link.other_id}
        kept = _move_link(work, link, gone, into)
        told.append({**before, "note": link.note, "kept": kept})
    work.session.flush()
    return told


def _move_link(work: Work, link: ProgramLink, gone: Program, into: Program) -> bool:
    begins = link.program_id == gone.id
    other = work.session.get_one(Program, link.other_id if begins else link.program_id)
    first, second = (into, other) if begins else (other, into)
    note = link.note
    work.session.delete(link)
    work.session.flush()
    if other.id == into.id:
        return False
    try:
        links.require_room(work, first, second, LinkKind(link.kind))
    except ArchiveError:
        return False
    work.session.add(
        ProgramLink(
            program_id=known(first.id),
            kind=link.kind,
            other_id=known(second.id),
            note=note,
            made_at=link.made_at,
            made_by_id=link.made_by_id,
        )
    )
    work.session.flush()
    return True


def _move_requests(work: Work, gone: Program, into: Program) -> list[int]:
    """Let what was asked for of the one be answered by tapes of the other; gives the requests."""
    asked = select(TapeRequest).where(col(TapeRequest.program_id) == gone.id)
    requests = work.session.scalars(asked.order_by(col(TapeRequest.id))).all()
    for request in requests:
        request.program_id = into.id
    return [known(request.id) for request in requests]


def _fill(work: Work, gone: Program, into: Program) -> dict[str, Any]:
    """Take from the one what the other lacks; what it said before and after, by column."""
    given = {
        name: getattr(gone, name)
        for name in FILLED
        if getattr(gone, name) and not getattr(into, name)
    }
    names = [*into.variant_titles, gone.title, *gone.variant_titles]
    given["variant_titles"] = list(dict.fromkeys(each for each in names if each != into.title))
    changed = changes.differing(into, given)
    before = {name: changes.plain(getattr(into, name)) for name in changed}
    for name, value in changed.items():
        setattr(into, name, value)
    into.revision += 1
    into.updated_at = work.now
    return {"before": before, "after": {name: changes.plain(changed[name]) for name in changed}}


def _log(
    work: Work, gone: Program, into: Program, note: str, facts: Facts, corrects: int | None
) -> int:
    because = f": {note}" if note else ""
    kind = EventType.MODIFICATION
    entry = events.record(
        work,
        kind,
        ObjectKind.PROGRAM,
        known(into.id),
        detail=f"{gone.title} (no. {gone.id}) merged into it{because}",
        facts=facts,
        corrects=corrects,
    )
    work.session.flush()
    events.record(
        work,
        kind,
        ObjectKind.PROGRAM,
        known(gone.id),
        detail=f"merged into {into.title} (no. {into.id}){because}",
        facts={"action": "merge programs", "part_of": entry.id},
    )
    return known(entry.id)
