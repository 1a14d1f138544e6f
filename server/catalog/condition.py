"""Condition reports: what a volunteer saw on a tape, and what follows from it.

The newest report says in what condition a tape is. A hazard in any report holds the tape apart
at once; only an archivist, and not the one who saw the hazard gone, lets it out again.
"""

from datetime import date
from typing import Annotated, Any, Final

from pydantic import Field
from sqlalchemy import ColumnElement, and_, func, or_, select
from sqlmodel import col

from server.catalog import changes, events, named
from server.catalog.condition_values import Defect, NewReport, ReportChange, ReportRecord
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, Quarantined, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, may_be_id, tape_of
from server.catalog.inputs import Input, RequiredText
from server.catalog.tape_values import Page
from server.catalog.vocabulary import (
    CAUTIONS,
    Action,
    Condition,
    Handling,
    Hazard,
    Method,
    Reason,
    Urgency,
)
from server.catalog.work import COMMAND, Role, Work
from server.store.condition import ConditionReport
from server.store.people import Person
from server.store.tapes import Tape

PAGE_SIZE = 50

_STANDS: Final = col(ConditionReport.withdrawn_at).is_(None)
"""The condition that a report was not taken back."""


class Release(Input):
    """Why a tape need not be held apart any longer."""

    note: Annotated[RequiredText, Field(description="What was examined, and by whom.")]


def page(
    work: Work, tape: str | None = None, page: int = 1, page_size: int = PAGE_SIZE
) -> Page[ReportRecord]:
    """One page of the reports that stand, newest first: all of them, or those on one tape.

    Raises:
        NotFound: there is no such tape.
    """
    condition: ColumnElement[bool] = _STANDS
    if tape is not None:
        condition &= col(ConditionReport.tape_id) == tape_of(work, tape).id
    counted = select(func.count()).select_from(ConditionReport).where(condition)
    rows = _reports(work, condition, offset=(page - 1) * page_size, limit=page_size)
    return Page(rows, work.session.scalar(counted) or 0, page, page_size)


def get(work: Work, report_id: int) -> ReportRecord:
    """A report.

    Raises:
        NotFound: there is none of that id.
    """
    found: tuple[ReportRecord, ...] = ()
    if may_be_id(report_id):
        found = _reports(work, col(ConditionReport.id) == report_id)
    if not found:
        raise NotFound(
            f"There is no condition report {report_id}.",
            where=str(report_id),
            mend="Look at the reports of the tape.",
        )
    return found[0]


def before(work: Work, report: ReportRecord) -> ReportRecord | None:
    """The report on the same tape that came before this one; None where it is the first."""
    earlier = or_(
        col(ConditionReport.checked_on) < report.checked_on,
        and_(
            col(ConditionReport.checked_on) == report.checked_on,
            col(ConditionReport.id) < report.id,
        ),
    )
    found = _reports(work, and_(_STANDS, col(Tape.accession_number) == report.tape, earlier))
    return found[0] if found else None


def log(work: Work, new: NewReport) -> ReportRecord:
    """Keep a report; the tape takes its condition, and is held apart if it names a hazard.

    One with a key that the same person sent before is the report that was kept then.

    Raises:
        NotFound: there is no such tape.
        Invalid: the date is still to come, or the next check is before it.
        Conflict: somebody else, or on another tape, sent a report with that key.
    """
    work.actor.require(Role.VOLUNTEER)
    tape = tape_of(work, new.tape, to_change=True)
    sent_before = _sent_before(work, new, tape)
    if sent_before is not None:
        return get(work, sent_before)
    _require_past(work, new)
    _require_order(new.checked_on, new.next_check)
    report = ConditionReport(
        **new.model_dump(mode="json", exclude={"tape", "checked_on", "next_check"}),
        tape_id=known(tape.id),
        checked_on=new.checked_on,
        next_check=new.next_check,
        checked_by_id=work.actor.person_id,
        created_at=work.now,
        updated_at=work.now,
    )
    work.session.add(report)
    work.session.flush()
    events.record(
        work,
        EventType.CONDITION,
        ObjectKind.TAPE,
        tape.accession_number,
        outcome=new.state,
        facts={"report": known(report.id), "hazard": new.hazard},
    )
    follow(work, tape, new.hazard)
    return get(work, known(report.id))


def _sent_before(work: Work, new: NewReport, tape: Tape) -> int | None:
    """The id of the report with that key; its tape is locked, so that nobody sends it meanwhile."""
    if new.key is None:
        return None
    found = work.session.scalar(select(ConditionReport).where(col(ConditionReport.key) == new.key))
    if found is None:
        return None
    if (found.tape_id, found.checked_by_id) != (tape.id, work.actor.person_id):
        raise Conflict(
            "Another report has that key.",
            where="key",
            mend="Give this report a key of its own, and send it again.",
            fields={"key": "another report has it"},
        )
    return known(found.id)


def amend(
    work: Work, report_id: int, change: ReportChange, revision: int | None = None
) -> ReportRecord:
    """Put a report right, if it is still at `revision`; what it said before stays in the log.

    Raises:
        NotFound: there is none of that id.
        NotAllowed: only its author or an archivist amends it.
        Conflict: somebody else amended it meanwhile.
        Invalid: the date is still to come, or the next check is before it.
    """
    work.actor.require(Role.VOLUNTEER)
    _require_past(work, change)
    number = get(work, report_id).tape
    tape = tape_of(work, number, to_change=True)
    report = work.session.get_one(ConditionReport, report_id, with_for_update=True)
    require_amender(work, report_id)
    changes.require_revision(report, revision, f"Condition report {report_id}")
    given = _given(change)
    _require_order(
        given.get("checked_on", report.checked_on), given.get("next_check", report.next_check)
    )
    changed = changes.differing(report, given)
    changes.apply(work, report, changed, ObjectKind.REPORT, report_id)
    work.session.flush()
    follow(work, tape, Hazard(report.hazard))
    return get(work, report_id)


def may_amend(work: Work, report_id: int) -> bool:
    """Whether the actor may put the report right, which is held: its author, or an archivist."""
    return work.actor.owns(work.session.get_one(ConditionReport, report_id).checked_by_id)


def require_amender(work: Work, report_id: int) -> None:
    """Refuse whoever may not amend the report.

    Raises:
        NotSignedIn: nobody is signed in.
        NotAllowed: only its author or an archivist amends it.
    """
    work.actor.require(Role.VOLUNTEER)
    if not may_amend(work, report_id):
        work.actor.require(Role.ARCHIVIST)


def release(work: Work, accession_number: str, note: str) -> None:
    """Let a tape out of quarantine: a second person's word, after a report without a hazard.

    Raises:
        NotFound: there is no such tape.
        Invalid: the note does not say why.
        Quarantined: the newest report still names a hazard.
        NotAllowed: the newest report is one's own.
    """
    work.actor.require(Role.ARCHIVIST)
    given = Release.of({"note": note})
    tape = tape_of(work, accession_number, to_change=True)
    if not Hazard(tape.hazard).quarantines:
        return
    last = newest(work, tape)
    if last is None or Hazard(last.hazard).quarantines:
        raise Quarantined(
            f"The newest report on {accession_number} still says: {tape.hazard}.",
            where=accession_number,
            mend="Have it examined, and a report logged that names no hazard.",
        )
    if work.actor.is_person(last.checked_by_id):
        raise NotAllowed(
            "The report that names no hazard is your own.",
            where=accession_number,
            mend="A second archivist must release the tape.",
        )
    _set_hazard(work, tape, Hazard.NONE, EventType.UNQUARANTINE, given.note)


def follow(work: Work, tape: Tape, hazard: Hazard) -> None:
    """Give the tape what its newest report says, and hold it apart for `hazard`."""
    last = newest(work, tape)
    state = Condition.NOT_EXAMINED if last is None else last.state
    if state != tape.condition:
        tape.condition = state
        tape.revision += 1
        tape.updated_at = work.now
    if hazard.quarantines and tape.hazard != hazard:
        _set_hazard(work, tape, hazard, EventType.QUARANTINE, CAUTIONS[hazard])


def _set_hazard(work: Work, tape: Tape, hazard: Hazard, kind: EventType, detail: str) -> None:
    facts = {"before": tape.hazard, "after": hazard}
    tape.hazard = hazard
    tape.revision += 1
    tape.updated_at = work.now
    events.record(work, kind, ObjectKind.TAPE, tape.accession_number, detail=detail, facts=facts)


def newest(work: Work, tape: Tape) -> ConditionReport | None:
    """The newest report on a tape that stands, as it is kept; None where there is none."""
    return work.session.scalar(
        select(ConditionReport)
        .where(col(ConditionReport.tape_id) == tape.id, _STANDS)
        .order_by(col(ConditionReport.checked_on).desc(), col(ConditionReport.id).desc())
        .limit(1)
    )


def _require_past(work: Work, given: NewReport | ReportChange) -> None:
    if given.checked_on is not None and work.is_to_come(given.checked_on):
        raise Invalid(
            f"{given.checked_on} is still to come.",
            where="checked_on",
            mend="Give the day on which the tape was looked at.",
            fields={"checked_on": "this day is still to come"},
        )


def _require_order(checked_on: date, next_check: date | None) -> None:
    if next_check is not None and next_check <= checked_on:
        raise refused(
            "next_check",
            f"The next check, {next_check}, is not after {checked_on}.",
            "Give a later day, or none.",
        )


_MAY_BE_NONE: Final = {"machine_readable", "next_check"}


def _given(change: ReportChange) -> dict[str, Any]:
    """What was given, by column; only what may be unknown can be given as that."""
    given = change.model_dump(mode="json", exclude_unset=True)
    days = {name: getattr(change, name) for name in ("checked_on", "next_check") if name in given}
    return {
        name: value
        for name, value in (given | days).items()
        if value is not None or name in _MAY_BE_NONE
    }


def _reports(
    work: Work, condition: ColumnElement[bool], *, offset: int = 0, limit: int = 1
) -> tuple[ReportRecord, ...]:
    rows = work.session.execute(
        select(ConditionReport, col(Tape.accession_number), col(Tape.title), named.name_of(work))
        .join(Tape, col(Tape.id) == col(ConditionReport.tape_id))
        .outerjoin(Person, col(Person.id) == col(ConditionReport.checked_by_id))
        .where(condition)
        .order_by(col(ConditionReport.checked_on).desc(), col(ConditionReport.id).desc())
        .offset(offset)
        .limit(limit)
    )
    return tuple(_record(*row) for row in rows)


def _record(report: ConditionReport, number: str, title: str, name: str | None) -> ReportRecord:
    return ReportRecord(
        id=known(report.id),
        tape=number,
        tape_title=title,
        checked_on=report.checked_on,
        by=name or COMMAND.name,
        state=Condition(report.state),
        reason=Reason(report.reason),
        method=Method(report.method),
        defects=tuple(Defect.model_validate(each) for each in report.defects),
        machine_readable=report.machine_readable,
        advice=report.advice,
        hazard=Hazard(report.hazard),
        handling=Handling(report.handling),
        action=Action(report.action),
        urgency=Urgency(report.urgency),
        next_check=report.next_check,
        revision=report.revision,
        logged=report.created_at,
        withdrawn=report.withdrawn_at,
    )
