"""Loans: proposed, approved by an archivist, given out and taken back, each with its report.

A tape is out once at most: the database refuses a second time, whoever asks. What a report says
as the tape goes out is heeded then, whatever was approved before.
"""

from datetime import date, datetime, timedelta
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.catalog import changes, condition, events, movements, tape_requests
from server.catalog.condition_values import NewReport
from server.catalog.errors import Conflict, Invalid, NotFound, Quarantined, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, tape_of
from server.catalog.lending import RULE, obstacles_to, require_held
from server.catalog.loan_records import get, loan_of, uncovered
from server.catalog.loan_values import (
    Approval,
    Extension,
    HandOver,
    LoanRecord,
    LoanStatus,
    NewLoan,
    Return,
    Seen,
    Why,
)
from server.catalog.movements import To
from server.catalog.place_values import State
from server.catalog.vocabulary import Reason
from server.catalog.work import Role, Work
from server.store.condition import ConditionReport
from server.store.loans import Loan
from server.store.places import Place, Whereabouts
from server.store.tapes import Tape

LONGEST_DAYS: Final = 366 * 5
"""A loan for longer is to be agreed again."""


def propose(work: Work, new: NewLoan) -> LoanRecord:
    """Propose to lend a tape.

    Raises:
        NotFound: there is no such tape.
        Conflict: the tape left the collection.
        Invalid: the day is past, or years ahead, or there is no such request.
    """
    work.actor.require(Role.VOLUNTEER)
    tape = tape_of(work, new.tape)
    require_held(tape)
    _require_day(work, new.due_on)
    if new.request is not None:
        tape_requests.require_fits(work, new.request, tape)
    values = new.model_dump(exclude={"tape", "request"})
    loan = Loan(
        **values,
        tape_id=known(tape.id),
        request_id=new.request,
        status=LoanStatus.PROPOSED,
        proposed_at=work.now,
        proposed_by_id=work.actor.person_id,
        updated_at=work.now,
    )
    work.session.add(loan)
    work.session.flush()
    return _logged(work, loan, "", {"tape": new.tape, "due": new.due_on.isoformat()})


def approve(work: Work, loan_id: int, given: Approval, revision: int | None = None) -> LoanRecord:
    """Approve a loan: an archivist's word, with the reason where something stands against it.

    Raises:
        NotFound: there is none of that id.
        Conflict: it is not waiting for this, or somebody else changed it meanwhile.
        Quarantined: something stands against it, and no reason is written.
    """
    work.actor.require(Role.ARCHIVIST)
    loan, tape = _to_change(work, loan_id, revision)
    if loan.status == LoanStatus.APPROVED and not uncovered(loan, obstacles_to(tape)):
        raise _not_now(loan, "be approved")
    _require(loan, "be approved", LoanStatus.PROPOSED, LoanStatus.APPROVED)
    require_held(tape)
    against = obstacles_to(tape)
    if against and not given.reason:
        raise Quarantined(
            f"Tape {tape.accession_number} is {' and '.join(against)}.",
            where=tape.accession_number,
            mend=f"{RULE} Write why it is lent all the same, or refuse the loan.",
        )
    loan.decided_at, loan.decided_by_id = work.now, work.actor.person_id
    loan.reason, loan.obstacles = given.reason, list(against)
    return _moved(work, loan, LoanStatus.APPROVED, given.reason, {"obstacles": list(against)})


def refuse(work: Work, loan_id: int, given: Why, revision: int | None = None) -> LoanRecord:
    """Refuse a loan.

    Raises:
        NotFound: there is none of that id.
        Conflict: it is not waiting for this, or somebody else changed it meanwhile.
    """
    work.actor.require(Role.ARCHIVIST)
    loan, _ = _to_change(work, loan_id, revision)
    _require(loan, "be refused", LoanStatus.PROPOSED, LoanStatus.APPROVED)
    loan.decided_at, loan.decided_by_id = work.now, work.actor.person_id
    loan.note = given.why
    return _moved(work, loan, LoanStatus.REFUSED, given.why)


def withdraw(work: Work, loan_id: int, given: Why, revision: int | None = None) -> LoanRecord:
    """Say that nothing comes of a loan that is not out.

    Raises:
        NotFound: there is none of that id.
        Conflict: the tape is out, or all is over, or somebody else changed it meanwhile.
    """
    work.actor.require(Role.VOLUNTEER)
    loan, _ = _to_change(work, loan_id, revision)
    _require(loan, "be withdrawn", LoanStatus.PROPOSED, LoanStatus.APPROVED)
    loan.note = given.why
    return _moved(work, loan, LoanStatus.WITHDRAWN, given.why)


def give_out(work: Work, loan_id: int, given: HandOver, revision: int | None = None) -> LoanRecord:
    """Give the tape to the borrower, with what is seen of it.

    Raises:
        NotFound: there is none of that id.
        Conflict: it is not approved, the tape is out already, or somebody changed it meanwhile.
        Quarantined: the tape stands otherwise than when it was approved.
        Invalid: nothing is said of its condition, or the day is still to come.
    """
    work.actor.require(Role.VOLUNTEER)
    loan, tape = _to_change(work, loan_id, revision)
    _require(loan, "be given out", LoanStatus.APPROVED)
    require_held(tape)
    _require_not_out(work, loan, tape)
    report = _report(work, tape, given, Reason.BEFORE_LOAN, since=loan.proposed_at)
    open_ones = uncovered(loan, obstacles_to(tape))
    if open_ones:
        raise Quarantined(
            f"Tape {tape.accession_number} is {' and '.join(open_ones)}, which was not approved.",
            where=tape.accession_number,
            mend=f"{RULE} Ask an archivist to approve the loan again.",
        )
    movements.go(work, tape, To(State.ON_LOAN), f"loan {loan_id}")
    try:
        with work.session.begin_nested():
            loan.status, loan.out_report_id = LoanStatus.OUT, report
            loan.out_on, loan.out_at = given.on or work.now.date(), work.now
            loan.out_by_id = work.actor.person_id
            work.session.flush()
    except IntegrityError:
        raise _out_already(tape) from None
    if loan.request_id is not None:
        tape_requests.lent(work, loan.request_id, tape, loan_id)
    return _moved(work, loan, LoanStatus.OUT, "", {"report": report})


def extend(work: Work, loan_id: int, given: Extension, revision: int | None = None) -> LoanRecord:
    """Give a loan another day on which the tape is due.

    Raises:
        NotFound: there is none of that id.
        Conflict: it is over, or somebody else changed it meanwhile.
        Invalid: the day is past, or years ahead.
    """
    work.actor.require(Role.ARCHIVIST)
    loan, _ = _to_change(work, loan_id, revision)
    _require(loan, "be extended", *(each for each in LoanStatus if each.open))
    _require_day(work, given.due_on)
    facts = {"before": {"due_on": str(loan.due_on)}, "after": {"due_on": str(given.due_on)}}
    loan.due_on = given.due_on
    return _moved(work, loan, LoanStatus(loan.status), given.why or "extended", facts)


def take_back(work: Work, loan_id: int, given: Return, revision: int | None = None) -> LoanRecord:
    """Take the tape back, with what is seen of it, to a place or to where it belongs.

    Raises:
        NotFound: there is none of that id.
        Conflict: the tape is not out, its place is closed, or somebody changed it meanwhile.
        Invalid: nothing is said of its condition, or the day is still to come or before it went.
    """
    work.actor.require(Role.VOLUNTEER)
    loan, tape = _to_change(work, loan_id, revision)
    _require(loan, "be taken back", LoanStatus.OUT)
    assert loan.out_on is not None
    assert loan.out_at is not None
    day = given.on or work.now.date()
    if day < loan.out_on:
        raise refused("on", f"it went out on {loan.out_on}", "Give a day after that.")
    if given.report is not None and given.report == loan.out_report_id:
        raise refused("report", "it is of the day on which the tape went", "Look at it again.")
    report = _report(work, tape, given, Reason.AFTER_LOAN, since=loan.out_at)
    movements.go(work, tape, _home(work, tape, given.place), f"loan {loan_id}", lent=True)
    loan.back_report_id = report
    loan.back_on, loan.back_by_id = day, work.actor.person_id
    return _moved(work, loan, LoanStatus.BACK, "", {"report": report})


def lose(work: Work, loan_id: int, given: Why, revision: int | None = None) -> LoanRecord:
    """Say that a tape does not come back: it is missing from now on.

    Raises:
        NotFound: there is none of that id.
        Conflict: the tape is not out, or somebody else changed it meanwhile.
    """
    work.actor.require(Role.ARCHIVIST)
    loan, tape = _to_change(work, loan_id, revision)
    _require(loan, "be given up", LoanStatus.OUT)
    loan.note = given.why
    movements.go(work, tape, To(State.MISSING), f"loan {loan_id}: {given.why}", lent=True)
    return _moved(work, loan, LoanStatus.NOT_RETURNED, given.why)


def _to_change(work: Work, loan_id: int, revision: int | None) -> tuple[Loan, Tape]:
    """A loan and its tape, kept from everybody else: the tape first, as its own changes do."""
    loan = loan_of(work, loan_id)
    tape = work.session.get_one(Tape, loan.tape_id)
    for row in (tape, loan):
        work.session.refresh(row, with_for_update=True)
    changes.require_revision(loan, revision, f"Loan {loan_id}")
    return loan, tape


def _require(loan: Loan, deed: str, *allowed: LoanStatus) -> None:
    if loan.status not in allowed:
        raise _not_now(loan, deed)


def _not_now(loan: Loan, deed: str) -> Conflict:
    return Conflict(
        f"Loan {loan.id} is “{loan.status}” and cannot {deed}.",
        where=f"loan {loan.id}",
        mend="Look at it as it is now: somebody may have gone on with it meanwhile.",
    )


def _require_not_out(work: Work, loan: Loan, tape: Tape) -> None:
    out = select(col(Loan.id)).where(
        col(Loan.tape_id) == tape.id, col(Loan.status) == LoanStatus.OUT, col(Loan.id) != loan.id
    )
    if work.session.scalar(out) is not None:
        raise _out_already(tape)


def _out_already(tape: Tape) -> Conflict:
    return Conflict(
        f"Tape {tape.accession_number} is lent already.",
        where=tape.accession_number,
        mend="Take it back first: one tape is never lent twice at once.",
    )


def _require_day(work: Work, day: date) -> None:
    today = work.now.date()
    if not today <= day <= today + timedelta(days=LONGEST_DAYS):
        raise refused("due_on", "give a day from today on, within five years", "Change the day.")


def _report(work: Work, tape: Tape, given: Seen, reason: Reason, since: datetime) -> int:
    """The report on a tape as it changes hands: one logged `since`, or made of what is said."""
    if given.on is not None and work.is_to_come(given.on):
        raise refused("on", "this day is still to come", "Give the day on which it changed hands.")
    if given.report is not None:
        return _report_of(work, tape, given.report, since)
    if given.state is None:
        raise Invalid(
            "Nothing is said of the condition of the tape.",
            where="state",
            mend="Say how it stands, or log a whole report first and give its number.",
            fields={"state": "say how the tape stands"},
        )
    new = NewReport(
        tape=tape.accession_number,
        checked_on=given.on or work.now.date(),
        state=given.state,
        reason=reason,
        advice=given.advice,
    )
    return condition.log(work, new).id


def _report_of(work: Work, tape: Tape, report_id: int, since: datetime) -> int:
    try:
        condition.get(work, report_id)
    except NotFound:
        raise refused("report", "there is no such report", "Look at those of the tape.") from None
    report = work.session.get_one(ConditionReport, report_id)
    if report.tape_id != tape.id or report.created_at < since:
        raise refused(
            "report",
            "it is of another tape, or older than this step",
            "Log a report on this tape as it changes hands.",
        )
    return report_id


def _home(work: Work, tape: Tape, text: str) -> To:
    """Where a tape goes that comes back: as it is written, else where it belongs."""
    if text:
        return movements.where_to(work, text)
    held = work.session.get(Whereabouts, tape.id)
    if held is None or held.usual_id is None:
        return To(State.UNKNOWN)
    return To(State.PLACED, work.session.get_one(Place, held.usual_id))


def _moved(
    work: Work,
    loan: Loan,
    status: LoanStatus,
    detail: str,
    facts: dict[str, Any] | None = None,
) -> LoanRecord:
    loan.status = status
    loan.revision += 1
    loan.updated_at = work.now
    work.session.flush()
    return _logged(work, loan, detail, facts)


def _logged(work: Work, loan: Loan, detail: str, facts: dict[str, Any] | None = None) -> LoanRecord:
    key = known(loan.id)
    events.record(
        work,
        EventType.LOAN,
        ObjectKind.LOAN,
        key,
        outcome=loan.status,
        detail=detail,
        facts=facts,
    )
    return get(work, key)
