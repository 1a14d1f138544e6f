"""Undoing the splitting of a program."""

from typing import Final

from server.catalog import program_parts as parts
from server.catalog import program_records, program_splitting
from server.catalog.errors import ArchiveError, Conflict
from server.catalog.held import program_ever, program_of
from server.catalog.history.inverses import Inverse, why_undone
from server.catalog.history.of_changes import tape_by
from server.catalog.history.of_versions import stands_on, withdraw
from server.catalog.program_parts import Facts
from server.catalog.work import Role, Work
from server.store.events import Event
from server.store.programs import Program, Version
from server.store.tapes import Tape


def _moved(
    work: Work, event: Event, holder: Program, target: Program
) -> tuple[list[Version], list[Tape]]:
    """The versions and tapes of the entry, all with `holder`, for which `target` has room.

    Raises:
        Conflict: one is elsewhere, or a label or an image is taken.
    """
    told = event.facts["versions"]
    held = {sha256: version for version, sha256 in parts.versions_of(work, holder)}
    parts.require_versions(held, told, holder.title)
    there = parts.versions_of(work, target)
    for version, sha256 in there:
        if any(version.label == each["label"] or sha256 == each["image"] for each in told):
            raise Conflict(f"{target.title} has a version {version.label} by now.")
    tapes = [tape_by(work, number) for number in event.facts["tapes"]]
    carrying = {tape.accession_number: tape for tape in tapes if tape.program_id == holder.id}
    parts.require_tapes(carrying, [tape.accession_number for tape in tapes], holder.title)
    return [held[each["image"]] for each in told], tapes


def _split_refused(work: Work, event: Event) -> str:
    try:
        source = program_of(work, event.facts["program"], to_change=True)
        program = program_of(work, event.facts["new"], to_change=True)
        versions, tapes = _moved(work, event, program, source)
    except ArchiveError as refusal:
        return refusal.what
    more = len(parts.versions_of(work, program)) > len(versions)
    if more or len(parts.tapes_of(work, program)) > len(tapes):
        return f"{program.title} has other versions or tapes by now. Put them elsewhere first."
    if parts.links_of(work, program):
        return f"{program.title} is linked to others by now. Take the links away first."
    return ""


def _join(work: Work, event: Event, why: str) -> None:
    source = program_of(work, event.facts["program"], to_change=True)
    program = program_of(work, event.facts["new"], to_change=True)
    because = why_undone(event, why)
    versions, tapes = _moved(work, event, program, source)
    entry = program_splitting.log(
        work, source, program, because, _told(event), event.id, "join programs"
    )
    _move(work, versions, tapes, source, entry)
    held = stands_on(work, program)
    if held:
        raise Conflict(held, where=program.title, mend="Merge the two programs instead.")
    withdraw(work, program, because, None, part_of=entry)
    program_records.index(work, source)


def _told(event: Event) -> Facts:
    return {name: event.facts[name] for name in ("program", "new", "versions", "tapes")}


def _move(work: Work, versions: list[Version], tapes: list[Tape], to: Program, entry: int) -> None:
    for version in versions:
        parts.move_version(work, version, to, version.label)
    parts.move_tapes(work, tapes, to, f"put to {to.title}", entry)


def _joined_refused(work: Work, event: Event) -> str:
    try:
        source = program_of(work, event.facts["program"], to_change=True)
        program = program_ever(work, event.facts["new"], to_change=True)
        _moved(work, event, source, program)
    except ArchiveError as refusal:
        return refusal.what
    return "" if program.withdrawn_at else f"{program.title} is a program of its own already."


def _split_again(work: Work, event: Event, why: str) -> None:
    source = program_of(work, event.facts["program"], to_change=True)
    program = program_ever(work, event.facts["new"], to_change=True)
    versions, tapes = _moved(work, event, source, program)
    program.withdrawn_at = None
    work.session.flush()
    because = why_undone(event, why)
    entry = program_splitting.log(work, source, program, because, _told(event), event.id)
    _move(work, versions, tapes, program, entry)
    for each in (source, program):
        each.revision += 1
        each.updated_at = work.now
        program_records.index(work, each)


SPLIT: Final = Inverse(Role.ARCHIVIST, _split_refused, _join)
JOINED: Final = Inverse(Role.ARCHIVIST, _joined_refused, _split_again)
