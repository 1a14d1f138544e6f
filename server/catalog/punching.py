"""Punching a tape from an image: each step, who took it, and where it stands.

Prepared (`server.catalog.punching_start`), punched, read back (`server.catalog.read_backs`): only
in the last step does a punched tape become one of the library's.
"""

from collections.abc import Collection
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, func, or_, select, true
from sqlmodel import col

from server.catalog import events, images, terms
from server.catalog.errors import Conflict, Invalid
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import image_id_of, known
from server.catalog.punching_records import move, punching_of, record, rows
from server.catalog.punching_values import (
    GivenUp,
    Punched,
    PunchingQuery,
    PunchingRecord,
    PunchingRow,
    Status,
)
from server.catalog.records import Download
from server.catalog.tape_values import Page
from server.catalog.terms import Vocabulary
from server.catalog.work import Role, Work
from server.store.programs import Version
from server.store.punching import Punching
from server.store.tapes import Tape

SUFFIX: Final = ".tape"


def get(work: Work, punching_id: int) -> PunchingRecord:
    """A punching, and all that was done about it.

    Raises:
        NotFound: there is none of that id.
    """
    return record(work, known(punching_of(work, punching_id).id))


def page(work: Work, query: PunchingQuery) -> Page[PunchingRow]:
    """One page of punchings, the newest first.

    Raises:
        NotFound: the image is not held.
    """
    condition = _asked_for(work, query)
    counted = select(func.count()).select_from(Punching).where(condition)
    total = work.session.scalar(counted) or 0
    found = rows(work, condition, offset=(query.page - 1) * query.page_size, limit=query.page_size)
    return Page(found, total, query.page, query.page_size)


def of_tape(work: Work, accession_number: str) -> PunchingRow | None:
    """The punching that a tape came of, if it is a copy that was made here."""
    found = rows(work, col(Punching.tape_id).in_(_tape_id(accession_number)), offset=0, limit=1)
    return found[0] if found else None


def _asked_for(work: Work, query: PunchingQuery) -> ColumnElement[bool]:
    condition: ColumnElement[bool] = true()
    if query.status is not None:
        condition &= col(Punching.status) == query.status
    if query.image is not None:
        condition &= col(Punching.image_id) == image_id_of(work, query.image)
    if query.tape is not None:
        condition &= col(Punching.tape_id).in_(_tape_id(query.tape))
    if query.program is not None:
        condition &= or_(
            col(Punching.version_id).in_(_versions_of(query.program)),
            col(Punching.tape_id).in_(
                select(col(Tape.id)).where(col(Tape.program_id) == query.program)
            ),
        )
    return condition


def _tape_id(number: str) -> Select[Any]:
    return select(col(Tape.id)).where(col(Tape.accession_number) == number)


def _versions_of(program: int) -> Select[Any]:
    return select(col(Version.id)).where(col(Version.program_id) == program)


def frames(work: Work, punching_id: int) -> Download:
    """The prepared frames, for the punch. That they were given out is logged.

    Raises:
        NotFound: there is no such punching.
        FixityFailed: the held frames of its image are not those of the image's name.
        Conflict: it was given up.
    """
    work.actor.require(Role.VOLUNTEER)
    row = punching_of(work, punching_id)
    source = images.of_id(work, row.image_id)
    images.own_frames(work, source.sha256)
    _require(row, set(Status) - {Status.GIVEN_UP}, "be punched")
    work.afterwards.append(lambda later: _log_given_out(later, punching_id))
    reel = f"-reel-{row.reel}" if row.reels > 1 else ""
    return Download(
        file_name=f"punching-{punching_id}{reel}{SUFFIX}",
        frames=row.frames,
        sha256=row.sha256,
        verified=source.verification.verified,
    )


def punched(work: Work, punching_id: int, given: Punched) -> PunchingRecord:
    """Say that the tape was punched: on what, by which machine, when.

    Raises:
        NotFound: there is no such punching.
        Conflict: it was punched already, or given up.
        Invalid: the day is still to come.
    """
    work.actor.require(Role.VOLUNTEER)
    day = given.punched_on or work.now.date()
    if work.is_to_come(day):
        raise Invalid(
            f"{day} is still to come.",
            where="punched_on",
            mend="Give the day on which the tape was punched.",
            fields={"punched_on": "this day is still to come"},
        )
    row = punching_of(work, punching_id, to_change=True)
    _require(row, {Status.PREPARED}, "be marked as punched")
    row.punched_on, row.punched_at, row.punched_by_id = day, work.now, work.actor.person_id
    row.medium = terms.accepted(work, Vocabulary.MEDIUM, given.medium, field="medium")
    row.punch, row.rate, row.note = given.punch, given.rate, given.note
    told = {"medium": row.medium, "punched_on": day.isoformat()}
    facts = {**given.model_dump(mode="json"), **told}
    return _moved(work, row, Status.PUNCHED, given.note, facts)


def again(work: Work, punching_id: int) -> PunchingRecord:
    """Go back to where the frames wait for the punch: what was punched is not used.

    Raises:
        NotFound: there is no such punching.
        Conflict: a tape came of it already, or it waits for the punch.
    """
    work.actor.require(Role.VOLUNTEER)
    row = punching_of(work, punching_id, to_change=True)
    _require(row, {Status.PUNCHED, Status.DIFFERS, Status.GIVEN_UP}, "be punched again")
    before = {"medium": row.medium, "punch": row.punch, "rate": row.rate, "was": row.status}
    row.punched_on = row.punched_at = row.punched_by_id = row.rate = None
    row.medium = row.punch = row.note = ""
    return _moved(work, row, Status.PREPARED, "to be punched again", before)


def give_up(work: Work, punching_id: int, given: GivenUp) -> PunchingRecord:
    """Say that no tape comes of it; it can be taken up again.

    Raises:
        NotFound: there is no such punching.
        Conflict: a tape came of it already, or it was given up.
    """
    work.actor.require(Role.VOLUNTEER)
    row = punching_of(work, punching_id, to_change=True)
    _require(row, {each for each in Status if each.open}, "be given up")
    return _moved(work, row, Status.GIVEN_UP, given.note, {"was": row.status})


def _require(row: Punching, allowed: Collection[Status], deed: str) -> None:
    status = Status(row.status)
    if status not in allowed:
        raise Conflict(
            f"Punching {row.id} is “{status}” and cannot {deed}.",
            where=f"punching {row.id}",
            mend="Look at it as it is now: somebody may have gone on with it meanwhile.",
        )


def _moved(
    work: Work, row: Punching, status: Status, detail: str, facts: dict[str, Any]
) -> PunchingRecord:
    move(work, row, status)
    key = known(row.id)
    events.record(
        work,
        EventType.PUNCHING,
        ObjectKind.PUNCHING,
        key,
        outcome=status,
        detail=detail,
        facts=facts,
    )
    return record(work, key)


def _log_given_out(work: Work, punching_id: int) -> None:
    events.record(work, EventType.DISSEMINATION, ObjectKind.PUNCHING, punching_id, anonymous=True)
