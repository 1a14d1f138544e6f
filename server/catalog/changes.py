"""Changing a record: what changes, whether it is still as it was when opened, and the log of it."""

from collections.abc import Mapping
from typing import Any, Final, Protocol

from server.catalog import events
from server.catalog.errors import Conflict
from server.catalog.events import EventType, ObjectKind
from server.catalog.work import Work
from server.store import turns

POLICY: Final = ("access", "rights_uri", "licence")
"""Columns that say what may be done with a record."""


class Revised(Protocol):
    """A row that counts its revisions."""

    revision: int
    updated_at: Any


def require_revision(row: Revised, revision: int | None, name: str) -> None:
    """Nothing, if the row is still at `revision`; None asks for no such care.

    Raises:
        Conflict: with the current revision.
    """
    if revision is None or revision == row.revision:
        return
    raise Conflict(
        f"{name} has changed since you opened it.",
        where=name,
        mend="Look at it as it is now, and change it again.",
        revision=row.revision,
    )


def differing(row: Revised, given: Mapping[str, Any]) -> dict[str, Any]:
    """Those of the given values that the row does not have already, by column."""
    return {name: value for name, value in given.items() if getattr(row, name) != value}


def apply(
    work: Work,
    row: Revised,
    changed: Mapping[str, Any],
    kind: ObjectKind,
    key: str | int,
    *,
    why: str = "",
    facts: Mapping[str, Any] | None = None,
    corrects: int | None = None,
) -> None:
    """Set the columns in `changed`, raise the revision, and log what was there before.

    `why` stands in the log, and the `facts` beside those of the change; `corrects` is the entry
    that this undoes.
    """
    if not changed:
        return
    if "access" in changed:
        # Two who close two tapes of one image at once would each see the other's still open.
        turns.take(work.session, "access")
    before = {name: plain(getattr(row, name)) for name in changed}
    for name, value in changed.items():
        setattr(row, name, value)
    row.revision += 1
    row.updated_at = work.now
    events.record(
        work,
        EventType.MODIFICATION,
        kind,
        key,
        detail=f"changed {', '.join(sorted(changed))}" + (f": {why}" if why else ""),
        facts={
            "before": before,
            "after": {name: plain(value) for name, value in changed.items()},
            "revision": row.revision,
            **(facts or {}),
        },
        corrects=corrects,
    )
    _log_policy(work, changed, kind, key)


def _log_policy(work: Work, changed: Mapping[str, Any], kind: ObjectKind, key: str | int) -> None:
    """Say what was settled of rights and access, as preservation programs look for it."""
    settled = {name: plain(changed[name]) for name in POLICY if name in changed}
    if settled:
        told = "; ".join(
            f"{name.replace('_', ' ')}: {value or 'none'}" for name, value in settled.items()
        )
        events.record(work, EventType.POLICY, kind, key, detail=told, facts=settled)


def plain(value: Any) -> Any:
    """The value as JSON holds it."""
    return value if isinstance(value, str | int | float | list | None) else str(value)
