"""How an entry of the log is undone: what speaks against it, and how it is carried out."""

from collections.abc import Callable
from typing import NamedTuple

from sqlalchemy import select
from sqlmodel import col

from server.catalog.work import Role, Work
from server.store.events import Event

Refuses = Callable[[Work, Event], str]
"""Says in a sentence why an entry cannot be undone now; empty where it can."""

Undoes = Callable[[Work, Event, str], None]
"""Undoes an entry, for the reason given, and logs that with an entry that corrects it."""


class Inverse(NamedTuple):
    """How entries of one kind are undone; `role` is who may."""

    role: Role
    refuses: Refuses
    undoes: Undoes


def why_undone(event: Event, why: str) -> str:
    """What the log says of undoing an entry."""
    return f"undoes entry {event.id}" + (f", {why}" if why else "")


def later_change(work: Work, event: Event, field: str) -> str:
    """Who changed a field of the same record later, in words; empty where the log does not say."""
    rows = work.session.scalars(
        select(Event)
        .where(
            col(Event.object_kind) == event.object_kind,
            col(Event.object_key) == event.object_key,
            col(Event.id) > event.id,
        )
        .order_by(col(Event.id).desc())
    )
    for row in rows:
        after = row.facts.get("after")
        if isinstance(after, dict) and field in after:
            return f", by {row.agent} on {row.occurred_at:%Y-%m-%d} (entry {row.id})"
    return ""
