"""Loans: what must be said and by whom before a tape goes, and that it goes once at most."""

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError

from server.catalog import condition, events, loan_records, loans, movements, tapes
from server.catalog.condition_values import NewReport
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, NotSignedIn, Quarantined
from server.catalog.events import ObjectKind
from server.catalog.loan_values import (
    Approval,
    Extension,
    HandOver,
    LoanQuery,
    LoanRecord,
    LoanStatus,
    NewLoan,
    Obstacle,
    Return,
    Why,
)
from server.catalog.place_values import Move, State
from server.catalog.queues import held_in, queue_of
from server.catalog.tape_values import TapeChange
from server.catalog.vocabulary import Condition, Hazard
from server.catalog.work import Role, Work
from server.store.tables import Loan
from tests import factories

TODAY = date.today()  # noqa: DTZ011 - loans are due by the day, and one day does not matter
NEXT_WEEK = TODAY + timedelta(days=7)
TAPE = "1979.1"
GOOD = HandOver(state=Condition.GOOD)


def fill(engine: Engine) -> Engine:
    """A tape that was read, and one that was not, each in its box."""
    with factories.acting(engine) as work:
        for number in (TAPE, "1979.2"):
            factories.tape(work, accession_number=number, place="Shelf 1, box 1")
        factories.upload(work, factories.text_tape(), tape=TAPE)
    return engine


@pytest.fixture
def library(sqlite_engine: Engine) -> Engine:
    return fill(sqlite_engine)


@pytest.fixture
def on_both(engine: Engine) -> Engine:
    """The same on either database, for what it does itself."""
    return fill(engine)


def propose(work: Work, number: str = TAPE, **others: Any) -> LoanRecord:
    given = {
        "tape": number,
        "borrower": "Museum across the river",
        "purpose": "Their open day",
        "due_on": NEXT_WEEK,
    }
    return loans.propose(work, NewLoan.of(given | others))


def lend(work: Work, number: str = TAPE, **others: Any) -> int:
    loan = propose(work, number, **others).id
    loans.approve(work, loan, Approval())
    loans.give_out(work, loan, GOOD)
    return loan


def make_overdue(work: Work, loan: int, days: int) -> None:
    """Nobody can lend a tape until yesterday: time itself has to pass."""
    row = work.session.get_one(Loan, loan)
    row.due_on = TODAY - timedelta(days=days)
    work.session.flush()


def log(work: Work, number: str, state: Condition, hazard: Hazard = Hazard.NONE) -> int:
    new = NewReport(tape=number, checked_on=TODAY, state=state, hazard=hazard)
    return condition.log(work, new).id


def test_a_loan_goes_its_way_from_proposal_to_return(library):
    with factories.acting(library, Role.VOLUNTEER) as work:
        proposed = propose(work, terms="Never run, only shown", contact="Their desk")
    assert (proposed.status, proposed.days, proposed.obstacles) == (LoanStatus.PROPOSED, None, ())
    with factories.acting(library) as work:
        assert loans.approve(work, proposed.id, Approval()).status == LoanStatus.APPROVED
    with factories.acting(library, Role.VOLUNTEER) as work:
        out = loans.give_out(work, proposed.id, HandOver(state=Condition.WORN, advice="Mind it"))
        assert (out.status, out.days, out.out_on) == (LoanStatus.OUT, 7, work.now.date())
        assert out.out_report is not None
        report = condition.get(work, out.out_report)
        assert (report.state, report.reason, report.advice) == ("worn", "before loan", "Mind it")
        assert tapes.get(work, TAPE).place == "on loan"
        assert movements.of(work, TAPE).is_away
    with factories.acting(library, Role.VOLUNTEER) as work:
        back = loans.take_back(work, proposed.id, Return(state=Condition.FRAGILE))
        assert (back.status, back.days) == (LoanStatus.BACK, None)
        assert (back.out_state, back.back_state) == (Condition.WORN, Condition.FRAGILE)
        assert tapes.get(work, TAPE).place == "Shelf 1, box 1"
        log = events.of(work, ObjectKind.LOAN, proposed.id)
        assert [each.outcome for each in log] == ["back", "out", "approved", "proposed"]


def test_a_tape_is_never_lent_twice_at_once(on_both):
    with factories.acting(on_both) as work:
        first, second = propose(work).id, propose(work, borrower="A school").id
        for loan in (first, second):
            loans.approve(work, loan, Approval())
        loans.give_out(work, first, GOOD)
        with pytest.raises(Conflict, match="lent already"):
            loans.give_out(work, second, GOOD)
        row = work.session.get_one(Loan, second)
        row.status, row.out_report_id = LoanStatus.OUT, loan_records.get(work, first).out_report
        with pytest.raises(IntegrityError):
            work.session.flush()
        work.session.rollback()


def test_a_tape_neither_goes_nor_comes_back_without_a_report(on_both):
    with factories.acting(on_both) as work:
        loan = propose(work).id
        loans.approve(work, loan, Approval())
        with pytest.raises(Invalid, match="condition"):
            loans.give_out(work, loan, HandOver())
        loans.give_out(work, loan, GOOD)
        with pytest.raises(Invalid, match="condition"):
            loans.take_back(work, loan, Return())
    with factories.acting(on_both) as work:
        work.session.get_one(Loan, loan).status = "back"
        with pytest.raises(IntegrityError):
            work.session.flush()
        work.session.rollback()


def test_a_whole_report_that_was_logged_for_it_will_do_and_no_other(library):
    with factories.acting(library) as work:
        old, other = log(work, TAPE, Condition.GOOD), log(work, "1979.2", Condition.GOOD)
    with factories.acting(library) as work:
        loan = propose(work).id
        loans.approve(work, loan, Approval())
        new = log(work, TAPE, Condition.GOOD)
        for report, told in ((old, "older"), (other, "another tape"), (99, "no such report")):
            with pytest.raises(Invalid, match=told):
                loans.give_out(work, loan, HandOver(report=report))
        assert loans.give_out(work, loan, HandOver(report=new)).out_report == new
        with pytest.raises(Invalid, match="on which the tape went"):
            loans.take_back(work, loan, Return(report=new))
        later = log(work, TAPE, Condition.WORN)
        assert loans.take_back(work, loan, Return(report=later)).back_state == Condition.WORN


@pytest.mark.parametrize(
    ("state", "hazard", "obstacle"),
    [
        (Condition.GOOD, Hazard.MOULD, Obstacle.QUARANTINED),
        (Condition.FRAGILE, Hazard.NONE, Obstacle.FRAGILE_AND_UNREAD),
        (Condition.UNFIT, Hazard.NONE, Obstacle.FRAGILE_AND_UNREAD),
    ],
)
def test_what_stands_against_a_loan_needs_an_archivists_written_reason(
    library, state, hazard, obstacle
):
    with factories.acting(library) as work:
        log(work, "1979.2", state, hazard)
        loan = propose(work, "1979.2")
        assert loan.uncovered == (obstacle,)
        with pytest.raises(Quarantined, match=obstacle):
            loans.approve(work, loan.id, Approval())
        reason = "To the conservator, in its bag"
        approved = loans.approve(work, loan.id, Approval(reason=reason))
        assert (approved.obstacles, approved.uncovered, approved.reason) == (
            (obstacle,),
            (),
            reason,
        )
        assert loans.give_out(work, loan.id, HandOver(state=state)).status == LoanStatus.OUT


def test_a_fragile_tape_that_was_read_is_lent_as_any_other(library):
    with factories.acting(library) as work:
        log(work, TAPE, Condition.FRAGILE)
        loan = propose(work).id
        assert loans.approve(work, loan, Approval()).obstacles == ()


def test_what_is_found_as_the_tape_goes_out_is_heeded_whatever_was_approved(library):
    with factories.acting(library) as work:
        loan = propose(work, "1979.2").id
        loans.approve(work, loan, Approval())
        with pytest.raises(Conflict, match="cannot be approved"):
            loans.approve(work, loan, Approval(reason="twice"))
    with pytest.raises(Quarantined), factories.acting(library) as work:
        loans.give_out(work, loan, HandOver(state=Condition.FRAGILE))
    with factories.acting(library) as work:
        log(work, "1979.2", Condition.GOOD, Hazard.PESTS)
        with pytest.raises(Quarantined, match="not approved"):
            loans.give_out(work, loan, GOOD)
        assert loan_records.get(work, loan).uncovered == (Obstacle.QUARANTINED,)
        loans.approve(work, loan, Approval(reason="To be frozen"))
        assert loans.give_out(work, loan, GOOD).status == LoanStatus.OUT


def test_a_tape_that_is_lent_is_moved_by_its_loan_alone(library):
    with factories.acting(library) as work:
        loan = lend(work)
        for attempt in (
            lambda: movements.put(work, Move(tapes=(TAPE,), written="Table")),
            lambda: tapes.change(work, TAPE, TapeChange(place="missing")),
        ):
            with pytest.raises(Conflict, match="lent"):
                attempt()
        assert tapes.change(work, TAPE, TapeChange(place="on loan", notes="x")).notes == "x"
        loans.take_back(work, loan, Return(state=Condition.GOOD, place="Punch table"))
        assert tapes.get(work, TAPE).place == "Punch table"


def test_a_loan_that_is_overdue_is_in_its_queue_and_among_the_reminders_until_it_is_back(on_both):
    def queued(work: Work) -> list[str]:
        return [each.key for each in held_in.page(work, queue_of("overdue-loans"), 5).rows]

    with factories.acting(on_both) as work:
        loan = lend(work)
        assert queued(work) == []
        assert [each.id for each in loan_records.reminders(work, 6)] == []
        assert [each.id for each in loan_records.reminders(work, 7)] == [loan]
        make_overdue(work, loan, 0)
        assert queued(work) == [], "it may still come today"
        make_overdue(work, loan, 3)
        assert queued(work) == [TAPE]
        (reminder,) = loan_records.reminders(work, 0)
        assert (reminder.overdue, reminder.days) == (True, -3)
        found = loan_records.page(work, LoanQuery(overdue=True))
        assert [each.tape for each in found.rows] == [TAPE]
    with factories.acting(on_both) as work:
        (entry,) = held_in.page(work, queue_of("overdue-loans"), 5).rows
        assert entry.detail == f"due on {TODAY - timedelta(days=3)}, with Museum across the river"
    with factories.acting(on_both, Role.VISITOR) as work:
        (entry,) = held_in.page(work, queue_of("overdue-loans"), 5).rows
        assert entry.detail == f"due on {TODAY - timedelta(days=3)}"
    with factories.acting(on_both) as work:
        loans.take_back(work, loan, Return(state=Condition.GOOD))
        assert (queued(work), loan_records.reminders(work, 30)) == ([], ())


def test_a_loan_is_extended_and_leaves_the_queue(library):
    with factories.acting(library) as work:
        loan = lend(work)
        make_overdue(work, loan, 3)
        later = loans.extend(work, loan, Extension(due_on=NEXT_WEEK, why="They asked"))
        assert (later.status, later.days) == (LoanStatus.OUT, 7)
        for day in (TODAY - timedelta(days=2), TODAY + timedelta(days=4000)):
            with pytest.raises(Invalid):
                loans.extend(work, loan, Extension(due_on=day))


def test_a_tape_that_does_not_come_back_is_missing(library):
    with factories.acting(library) as work:
        loan = lend(work)
        lost = loans.lose(work, loan, Why(why="Burnt with their shed"))
        assert (lost.status, lost.note) == (LoanStatus.NOT_RETURNED, "Burnt with their shed")
        assert movements.of(work, TAPE).state == State.MISSING


@pytest.mark.parametrize("end", ["refuse", "withdraw"])
def test_a_loan_of_which_nothing_comes_is_over(library, end):
    with factories.acting(library) as work:
        loan = propose(work).id
        over = getattr(loans, end)(work, loan, Why(why="Asked too late"))
        assert not over.status.open
        for step in (
            lambda: loans.approve(work, loan, Approval()),
            lambda: loans.give_out(work, loan, GOOD),
            lambda: loans.take_back(work, loan, Return(state=Condition.GOOD)),
            lambda: loans.lose(work, loan, Why(why="x")),
            lambda: loans.extend(work, loan, Extension(due_on=NEXT_WEEK)),
        ):
            with pytest.raises(Conflict):
                step()


def test_days_that_cannot_be_are_refused(library):
    with factories.acting(library) as work:
        with pytest.raises(Invalid):
            propose(work, due_on=TODAY - timedelta(days=2))
        loan = propose(work).id
        loans.approve(work, loan, Approval())
        with pytest.raises(Invalid, match="still to come"):
            loans.give_out(work, loan, HandOver(on=TODAY + timedelta(days=3), state="good"))
        loans.give_out(work, loan, GOOD)
        with pytest.raises(Invalid, match="went out"):
            loans.take_back(work, loan, Return(on=TODAY - timedelta(days=3), state="good"))


def test_a_step_names_the_revision_that_it_is_made_against(library):
    with factories.acting(library) as work:
        loan = propose(work)
        loans.approve(work, loan.id, Approval(), loan.revision)
        with pytest.raises(Conflict, match="changed since"):
            loans.give_out(work, loan.id, GOOD, loan.revision)


def test_who_may_do_what_with_loans(library):
    with factories.acting(library, Role.VOLUNTEER) as work:
        loan = propose(work).id
        refused: tuple[Any, ...] = (
            lambda: loans.approve(work, loan, Approval()),
            lambda: loans.refuse(work, loan, Why(why="x")),
            lambda: loans.extend(work, loan, Extension(due_on=NEXT_WEEK)),
            lambda: loans.lose(work, loan, Why(why="x")),
        )
        for attempt in refused:
            with pytest.raises(NotAllowed):
                attempt()
        with pytest.raises(NotFound):
            loan_records.get(work, 99)
    with factories.acting(library, Role.VISITOR) as work:
        for attempt in (
            lambda: propose(work),
            lambda: loan_records.page(work, LoanQuery()),
            lambda: loan_records.get(work, loan),
            lambda: loan_records.reminders(work, 1),
            lambda: loans.withdraw(work, loan, Why(why="x")),
            lambda: loans.give_out(work, loan, GOOD),
            lambda: loans.take_back(work, loan, Return(state=Condition.GOOD)),
        ):
            with pytest.raises(NotSignedIn):
                attempt()


def test_loans_are_listed_by_tape_and_by_status(library):
    with factories.acting(library) as work:
        first, second = lend(work), propose(work, "1979.2").id
        for asked, found in (
            ({}, [second, first]),
            ({"tape": TAPE}, [first]),
            ({"status": "proposed"}, [second]),
            ({"overdue": "true"}, []),
        ):
            assert [each.id for each in loan_records.page(work, LoanQuery.of(asked)).rows] == found
