"""Undoing an entry of the log: by another entry that says what it corrects.

Nothing is ever taken out of the log. Where something later stands on what was done, undoing is
refused, and the refusal says what; an entry that undid another one can be undone itself.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from sqlalchemy import select
from sqlmodel import col

from server.catalog.errors import Conflict, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import by_id, known
from server.catalog.history import (
    of_changes,
    of_links,
    of_merges,
    of_splits,
    of_tapes,
    of_terms,
    of_versions,
)
from server.catalog.history.actions import CHANGE, action_of
from server.catalog.history.inverses import Inverse
from server.catalog.inputs import Input, Text
from server.catalog.work import Role, Work
from server.store.events import Event

INVERSES: Final[Mapping[str, Inverse]] = MappingProxyType(
    {
        "attach image": of_tapes.ATTACHED,
        "detach image": of_tapes.DETACHED,
        "log report": of_tapes.REPORTED,
        "take report back": of_tapes.REPORTED,
        "move": of_tapes.MOVED,
        "create program": of_versions.CREATED,
        "withdraw program": of_versions.WITHDRAWN,
        "add version": of_versions.VERSION_ADDED,
        "take version out": of_versions.VERSION_TAKEN_OUT,
        "change version": of_versions.VERSION_CHANGED,
        "link": of_links.MADE,
        "unlink": of_links.UNMADE,
        "merge programs": of_merges.MERGED,
        "part programs": of_merges.PARTED,
        "split program": of_splits.SPLIT,
        "join programs": of_splits.JOINED,
        "add word": of_terms.ADDED,
        "remove word": of_terms.REMOVED,
        "rename word": of_terms.RENAMED,
        "merge words": of_terms.MERGED,
        "part words": of_terms.PARTED,
        "retire word": of_terms.TURNED,
        "bring word back": of_terms.TURNED,
        "change meaning": of_terms.MEANING,
    }
)
"""How each action is undone; the change of a record is undone as `of_changes` says."""

_NEVER: Final[Mapping[str, str]] = MappingProxyType(
    {
        EventType.ACCESSION: "A tape that was entered stays in the register.",
        EventType.CAPTURE: "A reading is never taken back.",
        EventType.QUARANTINE: "A quarantine is ended by an archivist's word, on the tape's page.",
        EventType.UNQUARANTINE: "Log a report that names the hazard, and it is held apart again.",
    }
)

_ATTACHED: Final = (ObjectKind.IMAGE, "The tape's history undoes it.")


class NewUndo(Input):
    """Why an entry is undone; may be left out."""

    note: Text = ""


def inverse_of(event: Event) -> Inverse | None:
    """How an entry is undone; None where it is not."""
    action = action_of(event)
    if action == CHANGE:
        return of_changes.CHANGES.get(event.object_kind)
    return None if event.object_kind == ObjectKind.IMAGE else INVERSES.get(action)


def refusal_of(work: Work, event: Event) -> str:
    """Why an entry cannot be undone by the actor as things stand; empty where it can."""
    part_of = event.facts.get("part_of")
    if part_of is not None:
        return f"It came with entry {part_of}: undo that."
    inverse = inverse_of(event)
    if inverse is None:
        return _why_never(event)
    undone_by = undone(work, event)
    if undone_by is not None:
        return f"Entry {undone_by} undid it already."
    if not work.actor.role.includes(inverse.role):
        return f"Only a person with the role {inverse.role} undoes this."
    return inverse.refuses(work, event)


def _why_never(event: Event) -> str:
    if event.object_kind == _ATTACHED[0] and action_of(event):
        return _ATTACHED[1]
    if action_of(event) == "write load sheet":
        return "The history of the load sheet goes back to any revision."
    return _NEVER.get(event.type, "It says what happened, and nothing takes that back.")


def undone(work: Work, event: Event) -> int | None:
    """The entry that undid one, and was not undone itself."""
    correcting = work.session.scalars(
        select(Event).where(col(Event.corrects_id) == event.id).order_by(col(Event.id))
    ).all()
    for each in correcting:
        if undone(work, each) is None:
            return known(each.id)
    return None


def event_of(work: Work, event_id: int) -> Event:
    """An entry of the log.

    Raises:
        NotFound: there is none of that number.
    """
    found = by_id(work, Event, event_id, to_change=True)
    if found is None:
        raise NotFound(
            f"The log has no entry {event_id}.",
            where=str(event_id),
            mend="Look at the history of the record.",
        )
    return found


def undo(work: Work, event_id: int, new: NewUndo) -> int:
    """Undo what an entry says was done; gives the number of the entry that says so.

    Raises:
        NotFound: there is no such entry.
        NotSignedIn, NotAllowed: the actor's role does not reach that far.
        Conflict: it is never undone, was undone already, or something later stands on it.
    """
    work.actor.require(Role.VOLUNTEER)
    event = event_of(work, event_id)
    inverse = inverse_of(event)
    if inverse is not None:
        work.actor.require(inverse.role)
    refusal = refusal_of(work, event)
    if refusal or inverse is None:
        raise Conflict(
            refusal,
            where=f"entry {event_id}",
            mend="Look at the history of the record for what was done since.",
        )
    inverse.undoes(work, event, new.note)
    work.session.flush()
    entry = undone(work, event)
    assert entry is not None
    return entry
