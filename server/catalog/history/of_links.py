"""Undoing what was done to a link between two programs."""

from typing import Final

from server.catalog import links
from server.catalog.errors import ArchiveError
from server.catalog.held import program_of
from server.catalog.history.inverses import Inverse, why_undone
from server.catalog.program_values import LinkKind
from server.catalog.versions import present_program
from server.catalog.work import Role, Work
from server.store.events import Event
from server.store.programs import Program, ProgramLink


def _ends(work: Work, event: Event) -> tuple[Program, LinkKind, Program]:
    """The two programs as they are held now.

    Raises:
        NotFound: one of them was withdrawn.
    """
    told = event.facts["link"]
    program, other = (
        program_of(work, present_program(work, told[name]), to_change=True)
        for name in ("program", "other")
    )
    return program, LinkKind(told["kind"]), other


def _held(work: Work, event: Event) -> ProgramLink | None:
    program, kind, other = _ends(work, event)
    return links.find(work, program.id or 0, kind, other.id or 0)


def _made_refused(work: Work, event: Event) -> str:
    try:
        return "" if _held(work, event) else "The link is not there any more."
    except ArchiveError as gone:
        return gone.what


def _unmake(work: Work, event: Event, why: str) -> None:
    link = _held(work, event)
    assert link is not None
    links.unmake(work, link, why_undone(event, why), event.id)


def _unmade_refused(work: Work, event: Event) -> str:
    try:
        program, kind, other = _ends(work, event)
        if program.id == other.id:
            return "The two are one program by now."
        links.require_room(work, program, other, kind)
    except ArchiveError as refusal:
        return refusal.what
    return ""


def _make(work: Work, event: Event, why: str) -> None:
    program, kind, other = _ends(work, event)
    note = event.facts["link"]["note"]
    links.make(work, program, other, kind, note, why_undone(event, why), event.id)


MADE: Final = Inverse(Role.ARCHIVIST, _made_refused, _unmake)
UNMADE: Final = Inverse(Role.ARCHIVIST, _unmade_refused, _make)
