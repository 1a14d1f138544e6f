"""Condition reports: what a volunteer saw on a tape, and what follows from it.

The newest report says in what condition a tape is. A hazard in any report holds the tape apart
at once; only an archivist, and not the one who saw the hazard gone, lets it out again.
"""

from typing import Annotated, Any

from pydantic import Field
from sqlalchemy import ColumnElement, func, select, true
from sqlmodel import col

from server.catalog import changes, events, named
from server.catalog.condition_values import Defect, NewReport, ReportChange, ReportRecord
from server.catalog.errors import Invalid, NotAllowed, NotFound, Quarantined
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, may_be_id, tape_of
from server.catalog.inputs import Input, RequiredText
from server.catalog.tape_values import Page
from server.catalog.vocabulary import CAUTIONS, Condition, Hazard, Method, Reason
from server.catalog.work import COMMAND, Role, Work
from server.store.condition import ConditionReport
from server.store.people import Person
from server.store.tapes import Tape

PAGE_SIZE = 50


class Release(Input):
    """Why a tape need not be held apart any longer."""

    note: Annotated[RequiredText, Field(description="What was examined, and by whom.")]


def page(
    work: Work, tape: str | None = None, page: int = 1, page_size: int = PAGE_SIZE
) -> Page[ReportRecord]:
    """One page of the reports, newest first: all of them, or those on one tape.

    Raises:
        NotFound: there is no such tape.
    """
    condition: ColumnElement[bool] = true()
    if tape is not None:
        condition = col(ConditionReport.tape_id) == tape_of(work, tape).id
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


def log(work: Work, new: NewReport) -> ReportRecord:
    """Keep a report; the tape takes its condition, and is held apart if it names a hazard.

    Raises:
        NotFound: there is no such tape.
        Invalid: the date is still to come.
    """
    work.actor.require(Role.VOLUNTEER)
    _require_past(work, new)
    tape = tape_of(work, new.tape, to_change=True)
    report = ConditionReport(
        **new.model_dump(mode="json", exclude={"tape", "checked_on"}),
        tape_id=known(tape.id),
        checked_on=new.checked_on,
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
    _follow(work, tape, new.hazard)
    return get(work, known(report.id))


def amend(
    work: Work, report_id: int, change: ReportChange, revision: int | None = None
) -> ReportRecord:
    """Put a report right, if it is still at `revision`; what it said before stays in the log.

    Raises:
        NotFound: there is none of that id.
        NotAllowed: only its author or an archivist amends it.
        Conflict: somebody else amended it meanwhile.
        Invalid: the date is still to come.
    """
    work.actor.require(Role.VOLUNTEER)
    _require_past(work, change)
    number = get(work, report_id).tape
    tape = tape_of(work, number, to_change=True)
    report = work.session.get_one(ConditionReport, report_id, with_for_update=True)
    require_amender(work, report_id)
    changes.require_revision(report, revision, f"Condition report {report_id}")
    changed = changes.differing(report, _given(change))
    changes.apply(work, report, changed, ObjectKind.REPORT, report_id)
    work.session.flush()
    _follow(work, tape, Hazard(report.hazard))
    return get(work, report_id)


def may_amend(work: Work, report_id: int) -> bool:
    """Whether the actor may put the report right, which is held: its author, or an archivist."""
    if work.actor.role.includes(Role.ARCHIVIST):
        return True
    report = work.session.get_one(ConditionReport, report_id)
    is_author = report.checked_by_id == work.actor.person_id
    return is_author and work.actor.role.includes(Role.VOLUNTEER)


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
    if last.checked_by_id is not None and last.checked_by_id == work.actor.person_id:
        raise NotAllowed(
            "The report that names no hazard is your own.",
            where=accession_number,
            mend="A second archivist must release the tape.",
        )
    _set_hazard(work, tape, Hazard.NONE, EventType.UNQUARANTINE, given.note)


def _follow(work: Work, tape: Tape, hazard: Hazard) -> None:
    """Give the tape what its newest report says, and hold it apart for `hazard`."""
    last = newest(work, tape)
    if last is not None and last.state != tape.condition:
        tape.condition = last.state
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
    """The newest report on a tape, as it is kept; None where there is none."""
    return work.session.scalar(
        select(ConditionReport)
        .where(col(ConditionReport.tape_id) == tape.id)
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


def _given(change: ReportChange) -> dict[str, Any]:
    """What was given, by column; only whether a reader takes the tape can be given as unknown."""
    given = change.model_dump(mode="json", exclude_unset=True)
    if "checked_on" in given:
        given["checked_on"] = change.checked_on
    return {
        name: value
        for name, value in given.items()
        if value is not None or name == "machine_readable"
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
        revision=report.revision,
        logged=report.created_at,
    )
