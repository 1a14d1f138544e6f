"""Undoing the merging of two programs."""

from typing import Final

from server.catalog import changes, events, links, program_merging, program_records
from server.catalog import program_parts as parts
from server.catalog.errors import ArchiveError, Conflict
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import image_id_of, known, program_ever, program_of
from server.catalog.history.inverses import Inverse, later_change, why_undone
from server.catalog.history.of_changes import tape_by
from server.catalog.program_merging import NewProgramMerge
from server.catalog.program_values import LinkKind
from server.catalog.versions import TOLD
from server.catalog.work import Role, Work
from server.store.events import Event
from server.store.loans import TapeRequest
from server.store.programs import Program, Version
from server.store.tapes import Tape


def _two(work: Work, event: Event) -> tuple[Program, Program]:
    """The merged program and the one that it was merged into.

    Raises:
        Conflict: the merge was undone already.
        NotFound, Moved: the other one was withdrawn, or merged itself.
    """
    into = program_of(work, event.facts["into"], to_change=True)
    gone = program_ever(work, event.facts["program"], to_change=True)
    if gone.merged_into_id != into.id:
        raise Conflict(f"{gone.title} is not merged into {into.title} any more.")
    return gone, into


def _refuses(work: Work, event: Event) -> str:
    try:
        _, into = _two(work, event)
        parts.require_versions(_versions(work, into), event.facts["versions"], into.title)
        _tapes(work, event, into)
    except ArchiveError as refusal:
        return refusal.what
    return _fields_refused(work, event, into) or _links_refused(work, event, into)


def _fields_refused(work: Work, event: Event, into: Program) -> str:
    for field, told in event.facts["fields"]["after"].items():
        if changes.plain(getattr(into, field)) != told:
            later = later_change(work, event, field)
            return f"“{field.replace('_', ' ')}” was changed again since{later}. Undo that first."
    return ""


def _links_refused(work: Work, event: Event, into: Program) -> str:
    for told in event.facts["links"]:
        if told["kept"] and _moved_link(work, told, event, into) is None:
            return "A link of the merged program was taken away since. Undo that first."
    return ""


def _moved_link(work: Work, told: dict[str, int | str], event: Event, into: Program) -> object:
    """The link as it leads since the merge."""
    ends = [
        known(into.id) if told[name] == event.facts["program"] else int(told[name])
        for name in ("program", "other")
    ]
    return links.find(work, ends[0], str(told["kind"]), ends[1])


def _versions(work: Work, program: Program) -> dict[str, Version]:
    return {sha256: version for version, sha256 in parts.versions_of(work, program)}


def _tapes(work: Work, event: Event, into: Program) -> list[Tape]:
    """The tapes that the merge moved, all of which carry the surviving program still."""
    tapes = [tape_by(work, number) for number in event.facts["tapes"]]
    held = {tape.accession_number: tape for tape in tapes if tape.program_id == into.id}
    parts.require_tapes(held, [tape.accession_number for tape in tapes], into.title)
    return tapes


def _part(work: Work, event: Event, why: str) -> None:
    gone, into = _two(work, event)
    tapes, facts = _tapes(work, event, into), event.facts
    gone.merged_into_id = None
    _give_back_versions(work, event, gone, into)
    for field, value in facts["fields"]["before"].items():
        setattr(into, field, value)
    for each in (gone, into):
        each.revision += 1
        each.updated_at = work.now
    work.session.flush()
    _give_back_links(work, event, into)
    _give_back_requests(work, event, gone)
    entry = _log(work, event, gone, into, why_undone(event, why))
    because = f"{gone.title} is a program of its own again"
    parts.move_tapes(work, tapes, gone, because, entry)
    for each in (gone, into):
        program_records.index(work, each)


def _give_back_versions(work: Work, event: Event, gone: Program, into: Program) -> None:
    held = _versions(work, into)
    for told in event.facts["versions"]:
        parts.move_version(work, held[told["image"]], gone, told["before"])
    for told in event.facts["dropped"]:
        work.session.add(
            Version(
                program_id=known(gone.id),
                image_id=image_id_of(work, told["image"]),
                created_at=work.now,
                created_by_id=work.actor.person_id,
                **{name: told[name] for name in TOLD},
            )
        )
    work.session.flush()


def _give_back_links(work: Work, event: Event, into: Program) -> None:
    for told in event.facts["links"]:
        link = _moved_link(work, told, event, into) if told["kept"] else None
        if link is not None:
            work.session.delete(link)
            work.session.flush()
        program, other = (
            work.session.get_one(Program, told[name]) for name in ("program", "other")
        )
        if links.find(work, told["program"], told["kind"], told["other"]) is None:
            kind = LinkKind(told["kind"])
            links.keep(work, program, other, kind, told["note"])


def _give_back_requests(work: Work, event: Event, gone: Program) -> None:
    # An entry that is older than requests moved with their program names none.
    for request_id in event.facts.get("requests", ()):
        work.session.get_one(TapeRequest, request_id).program_id = gone.id


def _log(work: Work, event: Event, gone: Program, into: Program, why: str) -> int:
    entry = events.record(
        work,
        EventType.MODIFICATION,
        ObjectKind.PROGRAM,
        known(into.id),
        detail=f"{gone.title} (no. {gone.id}) parted from it: {why}",
        facts={"action": "part programs", "program": known(gone.id), "into": known(into.id)},
        corrects=event.id,
    )
    work.session.flush()
    events.record(
        work,
        EventType.MODIFICATION,
        ObjectKind.PROGRAM,
        known(gone.id),
        detail=f"parted from {into.title} (no. {into.id}): {why}",
        facts={"action": "part programs", "part_of": entry.id},
    )
    return known(entry.id)


def _part_refused(work: Work, event: Event) -> str:
    try:
        program_of(work, event.facts["program"])
        program_of(work, event.facts["into"])
    except ArchiveError as gone:
        return gone.what
    return ""


def _merge_again(work: Work, event: Event, why: str) -> None:
    again = NewProgramMerge(into=event.facts["into"], note=why_undone(event, why))
    program_merging.merge(work, event.facts["program"], again, event.id)


MERGED: Final = Inverse(Role.ARCHIVIST, _refuses, _part)
PARTED: Final = Inverse(Role.ARCHIVIST, _part_refused, _merge_again)
