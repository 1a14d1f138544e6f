"""Putting right what was done to a condition report: an amendment, or its logging as a whole."""

from collections.abc import Mapping
from typing import Any

from server.catalog import changes, condition, events
from server.catalog.errors import Conflict
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, tape_of
from server.catalog.vocabulary import Hazard
from server.catalog.work import Work
from server.store.condition import ConditionReport
from server.store.tapes import Tape


def put_back(
    work: Work, report: ConditionReport, values: Mapping[str, Any], *, why: str, corrects: int
) -> None:
    """Let a report say again what it said before an amendment, which `corrects` names.

    Raises:
        NotAllowed: only its author or an archivist amends it.
    """
    number = known(report.id)
    condition.require_amender(work, number)
    kind = ObjectKind.REPORT
    changes.apply(work, report, values, kind, number, why=why, corrects=corrects)
    work.session.flush()
    condition.follow(work, work.session.get_one(Tape, report.tape_id), Hazard(report.hazard))


def set_standing(
    work: Work, report_id: int, *, stands: bool, why: str, corrects: int | None = None
) -> None:
    """Take back a report that was logged by mistake, or let it stand again.

    One that was taken back says nothing of the tape any more, but is kept. A quarantine that it
    began is ended as any other, by a second person's word.

    Raises:
        NotFound: there is none of that id.
        NotAllowed: only its author or an archivist takes it back.
        Conflict: it is so already.
    """
    number = condition.get(work, report_id).tape
    tape = tape_of(work, number, to_change=True)
    report = work.session.get_one(ConditionReport, report_id, with_for_update=True)
    condition.require_amender(work, report_id)
    if stands is (report.withdrawn_at is None):
        how = "stands already" if stands else "was taken back already"
        raise Conflict(f"Condition report {report_id} {how}.", where=str(report_id))
    report.withdrawn_at = None if stands else work.now
    report.revision += 1
    report.updated_at = work.now
    work.session.flush()
    events.record(
        work,
        EventType.MODIFICATION,
        ObjectKind.TAPE,
        number,
        detail=f"condition report {report_id} {'stands again' if stands else 'taken back'}: {why}",
        facts={"action": "log report" if stands else "take report back", "report": report_id},
        corrects=corrects,
    )
    work.session.refresh(tape)
    condition.follow(work, tape, Hazard(report.hazard) if stands else Hazard.NONE)
