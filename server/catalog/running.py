"""Whether a reader may have a tape now, and an archivist's word that it may all the same.

The word is for one reading within a day, and says why. No word lets a tape run that is held
apart for a hazard: that must be examined, and released by a second person.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Annotated, Any, Final

from pydantic import Field
from sqlalchemy import select
from sqlmodel import col

from server.catalog import events, handling, named
from server.catalog.errors import Conflict, Quarantined
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, tape_of
from server.catalog.inputs import Input, RequiredText
from server.catalog.vocabulary import Hazard
from server.catalog.work import Role, Work
from server.store.condition import RunPermission
from server.store.tapes import Tape

VALID_FOR: Final = timedelta(days=1)


class Permit(Input):
    """Why a tape may be run although it should not."""

    reason: Annotated[
        RequiredText, Field(description="Why it is run, by whom, and with what care.")
    ]


@dataclass(frozen=True, slots=True)
class Permission:
    """An archivist's word, while it holds."""

    by: str
    reason: str
    granted: datetime
    valid_until: datetime


@dataclass(frozen=True, slots=True)
class Running:
    """What stands against running a tape, and the word that it may be run all the same."""

    accession_number: str
    title: str
    do_not_run: bool
    warnings: tuple[str, ...]
    permission: Permission | None

    @property
    def may_run(self) -> bool:
        """Whether a reader may have it now."""
        return not self.do_not_run or self.permission is not None


def of(work: Work, accession_number: str) -> Running:
    """Whether a reader may have the tape.

    Raises:
        NotFound: there is no such tape.
    """
    tape = tape_of(work, accession_number)
    held = _held(work, tape)
    return Running(
        accession_number=tape.accession_number,
        title=tape.title,
        do_not_run=handling.do_not_run(tape),
        warnings=tuple(handling.warnings(work, tape)),
        permission=None if held is None else _told(work, held),
    )


def permit(work: Work, accession_number: str, reason: str) -> Permission:
    """Let a tape be read once, within a day, although it should not be run.

    Raises:
        NotFound: there is no such tape.
        Invalid: no reason is given.
        Quarantined: it is held apart, and must be released first.
        Conflict: nothing stands against running it, or it is permitted already.
    """
    work.actor.require(Role.ARCHIVIST)
    given = Permit.of({"reason": reason})
    tape = tape_of(work, accession_number, to_change=True)
    if Hazard(tape.hazard).quarantines:
        raise Quarantined(
            f"Tape {accession_number} is held apart: {tape.hazard}.",
            where=accession_number,
            mend="Have it examined and released first; no word lets a reader have it before.",
        )
    if not handling.do_not_run(tape):
        raise Conflict(
            f"Nothing stands against running tape {accession_number}.",
            where=accession_number,
            mend="Read it; no permission is needed.",
        )
    if _held(work, tape) is not None:
        raise Conflict(
            f"Tape {accession_number} may be read once already.",
            where=accession_number,
            mend="Read it, or wait until the permission has ended.",
        )
    permission = RunPermission(
        tape_id=known(tape.id),
        granted_by_id=work.actor.person_id,
        granted_at=work.now,
        valid_until=work.now + VALID_FOR,
        reason=given.reason,
    )
    work.session.add(permission)
    work.session.flush()
    facts = {"valid_until": permission.valid_until.isoformat()}
    _log(work, tape, "permitted", given.reason, facts)
    return _told(work, permission)


def withdraw(work: Work, accession_number: str) -> None:
    """Take back the word that a tape may be run; nothing where there is none.

    Raises:
        NotFound: there is no such tape.
    """
    work.actor.require(Role.ARCHIVIST)
    tape = tape_of(work, accession_number, to_change=True)
    held = _held(work, tape)
    if held is not None:
        held.valid_until = work.now
        _log(work, tape, "withdrawn", held.reason, {})


def note_reading(work: Work, tape: Tape, read_on: date | None) -> str:
    """What a reading of the tape that comes in means for it, in a sentence; nothing if nothing.

    A reading uses up the word that allowed it. One that nobody allowed is kept like any other,
    for what was read must not be lost, and is written down.
    """
    if not handling.do_not_run(tape):
        return ""
    held = _held(work, tape)
    if held is None:
        if _was_read_before(tape, read_on):
            return ""
        _log(work, tape, "read without permission", "", {})
        return f"{handling.DO_NOT_RUN}: it was read although nobody had allowed it."
    if read_on is not None and read_on < held.granted_at.date():
        return ""
    held.used_at = work.now
    _log(work, tape, "used", held.reason, {})
    return "It was read by an archivist's word, which is used up now."


def _was_read_before(tape: Tape, read_on: date | None) -> bool:
    """Whether the reading is older than the report that forbids it."""
    return read_on is not None and tape.last_report is not None and read_on < tape.last_report


def _held(work: Work, tape: Tape) -> RunPermission | None:
    """The word that holds now."""
    return work.session.scalar(
        select(RunPermission)
        .where(
            col(RunPermission.tape_id) == tape.id,
            col(RunPermission.used_at).is_(None),
            col(RunPermission.valid_until) > work.now,
        )
        .order_by(col(RunPermission.id).desc())
        .limit(1)
    )


def _told(work: Work, permission: RunPermission) -> Permission:
    return Permission(
        by=named.told_of(work, permission.granted_by_id),
        reason=permission.reason,
        granted=permission.granted_at,
        valid_until=permission.valid_until,
    )


def _log(work: Work, tape: Tape, outcome: str, detail: str, facts: dict[str, Any]) -> None:
    events.record(
        work,
        EventType.RUNNING,
        ObjectKind.TAPE,
        tape.accession_number,
        outcome=outcome,
        detail=detail,
        facts=facts,
    )
