"""Requests by demonstrators: asked, waiting in their queue, settled by a punching or a tape."""

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine

from server.catalog import (
    condition,
    loans,
    movements,
    own_list,
    program_merging,
    programs,
    tape_request_records,
    tape_requests,
    tapes,
)
from server.catalog.condition_values import NewReport
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound, NotSignedIn, Quarantined
from server.catalog.events import ObjectKind
from server.catalog.history.undoing import NewUndo, undo
from server.catalog.loan_values import Approval, HandOver, NewLoan
from server.catalog.program_merging import NewProgramMerge
from server.catalog.program_values import NewVersion
from server.catalog.queues import held_in, queue_of
from server.catalog.request_values import (
    Handing,
    NewRequest,
    Punched,
    RequestQuery,
    RequestRecord,
    RequestStatus,
    Withdrawal,
)
from server.catalog.vocabulary import Condition
from server.catalog.work import Role, Work, unit_of_work
from tests import factories, punched
from tests.catalog.history.steps import newest

TODAY = date.today()  # noqa: DTZ011 - what is wanted is wanted for a day, and one does not matter
SATURDAY = TODAY + timedelta(days=5)
TAPE = "1979.1"


def queued(work: Work) -> list[str]:
    return [each.key for each in held_in.page(work, queue_of("requested"), 5).rows]


def fill(engine: Engine) -> Engine:
    """A tape of a program, read, and another program's that nobody has read."""
    with factories.acting(engine) as work:
        kites = factories.program(work, title="Kites").id
        maze = factories.program(work, title="Maze").id
        factories.tape(work, accession_number=TAPE, program=kites, place="Box 1")
        sha256 = factories.upload(work, factories.hex_tape(), tape=TAPE).image.sha256
        programs.add_version(work, kites, NewVersion(label="1", sha256=sha256))
        factories.tape(work, accession_number="1979.2", program=maze, place="Box 2")
    return engine


@pytest.fixture
def library(sqlite_engine: Engine) -> Engine:
    return fill(sqlite_engine)


@pytest.fixture
def on_both(engine: Engine) -> Engine:
    """The same on either database, for what it does itself."""
    return fill(engine)


def ask(work: Work, **asked: Any) -> RequestRecord:
    given = {"wanted_on": SATURDAY, "purpose": "The open day"}
    return tape_requests.ask(work, NewRequest.of(given | (asked or {"tape": TAPE})))


def test_a_request_waits_in_its_queue_by_the_day_on_which_it_is_wanted(on_both):
    ada = factories.person(on_both, Role.VOLUNTEER, "Ada")
    with unit_of_work(on_both, ada) as work:
        later = ask(work, program=1, wanted_on=SATURDAY + timedelta(days=1))
        sooner = ask(work)
        assert (sooner.title, sooner.asked_by, sooner.days) == ("Tide table", "Ada", 5)
        assert queued(work) == [str(sooner.id), str(later.id)]
        entry, of_program = held_in.page(work, queue_of("requested"), 5).rows
        assert (entry.tape, entry.place, of_program.tape) == (TAPE, "Box 1", None)
        assert entry.detail == f"for {SATURDAY}, Ada: The open day"
        assert of_program.title == "Kites"
        assert of_program.steps[0].address == f"/requests/{later.id}"
    with factories.acting(on_both, Role.VISITOR) as work:
        assert held_in.page(work, queue_of("requested"), 5).rows[0].detail == f"for {SATURDAY}"


def test_a_request_is_taken_on_and_leaves_the_own_list_once_it_is_settled(on_both):
    ada = factories.person(on_both, Role.VOLUNTEER, "Ada")
    with unit_of_work(on_both, ada) as work:
        wanted = ask(work).id
        own_list.put_on(work, queue_of("requested"), str(wanted), 5)
        with pytest.raises(Conflict, match="on your list already"):
            own_list.put_on(work, queue_of("requested"), str(wanted), 5)
        for key in ("99", "nonsense", "9" * 30):
            with pytest.raises(NotFound):
                own_list.put_on(work, queue_of("requested"), key, 5)
        (part,) = own_list.mine(work, 5)
        assert [each.key for each in part.entries] == [str(wanted)]
        tape_requests.hand_out(work, wanted, Handing(tape=TAPE, place="Show table"))
        assert own_list.mine(work, 5) == ()


@pytest.mark.parametrize("asked", [{"tape": TAPE}, {"program": 1}])
def test_a_request_is_settled_by_a_punching_that_was_read_back_since(on_both, asked):
    with factories.acting(on_both) as work:
        image = tapes.get(work, TAPE).image
        assert image is not None
        sha256 = image.sha256
    (too_old,) = punched.begun(on_both, sha256)
    with factories.acting(on_both) as work:
        wanted = ask(work, **asked)
        assert [sha for sha, _ in wanted.images] == [sha256]
        with pytest.raises(Invalid):
            tape_requests.punched(work, wanted.id, Punched(punching=too_old.id))
    made = punched.punched(on_both, sha256)
    copy = punched.read_back(on_both, made.id, punched.frames(on_both, made.id)).tape
    with factories.acting(on_both) as work:
        offered = tape_request_records.get(work, wanted.id).punchings
        assert [each.id for each in offered] == [made.id]
        settled = tape_requests.punched(work, wanted.id, Punched(punching=made.id))
        assert (settled.status, settled.handed) == (RequestStatus.PUNCHED, copy)
        assert queued(work) == []
        other = ask(work, program=2).id
        with pytest.raises(Invalid):
            tape_requests.punched(work, other, Punched(punching=made.id))


def test_a_request_is_settled_by_a_tape_that_is_moved_to_where_it_is_shown(library):
    with factories.acting(library, Role.VOLUNTEER) as work:
        wanted = ask(work, program=1)
        assert [(each.accession_number, where) for each, where in wanted.tapes] == [(TAPE, "Box 1")]
        with pytest.raises(Invalid, match="not what was asked for"):
            tape_requests.hand_out(work, wanted.id, Handing(tape="1979.2", place="Table"))
        for place in ("", "missing"):
            with pytest.raises(Invalid, match="where the tape goes"):
                tape_requests.hand_out(work, wanted.id, Handing(tape=TAPE, place=place))
        done = tape_requests.hand_out(work, wanted.id, Handing(tape=TAPE, place="Show table"))
        assert (done.status, done.handed) == (RequestStatus.HANDED_OUT, TAPE)
        assert movements.of(work, TAPE).written == "Show table"
        assert movements.of(work, TAPE).is_away
        assert queued(work) == []
        with pytest.raises(Conflict, match="already"):
            tape_requests.withdraw(work, wanted.id, Withdrawal())


def test_a_fragile_tape_that_was_never_read_is_handed_out_only_with_an_archivists_reason(library):
    given = {"tape": "1979.2", "place": "Show table"}
    with factories.acting(library, Role.VOLUNTEER) as work:
        report = NewReport(tape="1979.2", checked_on=TODAY, state=Condition.FRAGILE)
        condition.log(work, report)
        wanted = ask(work, tape="1979.2").id
        with pytest.raises(Quarantined, match="never read"):
            tape_requests.hand_out(work, wanted, Handing.of(given | {"reason": "Only shown"}))
    with factories.acting(library) as work:
        with pytest.raises(Quarantined):
            tape_requests.hand_out(work, wanted, Handing.of(given))
        done = tape_requests.hand_out(work, wanted, Handing.of(given | {"reason": "Only shown"}))
        assert done.status is RequestStatus.HANDED_OUT


def test_a_loan_that_goes_out_settles_what_it_was_proposed_for(library):
    with factories.acting(library) as work:
        wanted = ask(work, program=1).id
        new = {"borrower": "Ada", "purpose": "x", "due_on": SATURDAY, "request": wanted}
        with pytest.raises(Invalid, match="not what was asked for"):
            loans.propose(work, NewLoan.of(new | {"tape": "1979.2"}))
        loan = loans.propose(work, NewLoan.of(new | {"tape": TAPE})).id
        loans.approve(work, loan, Approval())
        assert queued(work) == [str(wanted)]
        loans.give_out(work, loan, HandOver(state=Condition.GOOD))
        assert tape_request_records.get(work, wanted).handed == TAPE
        assert queued(work) == []


def test_who_may_ask_and_withdraw(library):
    ada = factories.person(library, Role.VOLUNTEER, "Ada")
    ben = factories.person(library, Role.VOLUNTEER, "Ben")
    with unit_of_work(library, ada) as work:
        first, second = ask(work).id, ask(work).id
    with unit_of_work(library, ben) as work, pytest.raises(NotAllowed):
        tape_requests.withdraw(work, first, Withdrawal())
    with unit_of_work(library, ada) as work:
        over = tape_requests.withdraw(work, first, Withdrawal(why="It rains"))
        assert (over.status, over.note) == (RequestStatus.WITHDRAWN, "It rains")
    with factories.acting(library) as work:
        tape_requests.withdraw(work, second, Withdrawal())
        assert queued(work) == []
    with factories.acting(library, Role.VISITOR) as work:
        for attempt in (
            lambda: ask(work),
            lambda: tape_request_records.page(work, RequestQuery()),
            lambda: tape_request_records.get(work, first),
            lambda: tape_requests.punched(work, first, Punched(punching=1)),
            lambda: tape_requests.hand_out(work, first, Handing(tape=TAPE, place="x")),
            lambda: tape_requests.withdraw(work, first, Withdrawal()),
        ):
            with pytest.raises(NotSignedIn):
                attempt()


@pytest.mark.parametrize(
    "asked", [{"tape": TAPE, "program": 1}, {"program": None}, {"tape": ""}], ids=str
)
def test_a_tape_or_a_program_is_asked_for_one_of_the_two(asked):
    with pytest.raises(Invalid, match=r"cannot be taken"):
        NewRequest.of({"wanted_on": SATURDAY, "purpose": "x", **asked})


def test_what_cannot_be_asked_for_is_refused(library):
    with factories.acting(library) as work:
        with pytest.raises(Invalid):
            ask(work, tape=TAPE, wanted_on=TODAY - timedelta(days=2))
        for asked in ({"tape": "1901.1"}, {"program": 99}):
            with pytest.raises(NotFound):
                ask(work, **asked)


def test_requests_are_listed_by_what_they_are_for_and_how_far_they_are(library):
    with factories.acting(library) as work:
        of_tape, of_program = ask(work).id, ask(work, program=1).id
        tape_requests.withdraw(work, of_tape, Withdrawal())
        for asked, found in (
            ({}, [of_program, of_tape]),
            ({"tape": TAPE}, [of_tape]),
            ({"program": 1}, [of_program]),
            ({"status": "open"}, [of_program]),
        ):
            page = tape_request_records.page(work, RequestQuery.of(asked))
            assert [each.id for each in page.rows] == found


def test_a_request_for_a_program_goes_along_as_that_is_merged_and_comes_back_with_it(library):
    with factories.acting(library) as work:
        wanted = ask(work, program=1).id
        program_merging.merge(work, 1, NewProgramMerge(into=2))
        followed = tape_request_records.get(work, wanted)
        assert (followed.program, followed.title) == (2, "Maze")
        offered = [each.accession_number for each, _ in followed.tapes]
        assert offered == [TAPE, "1979.2"]
        undo(work, newest(work, ObjectKind.PROGRAM, 2), NewUndo())
        again = tape_request_records.get(work, wanted)
        assert (again.program, again.title) == (1, "Kites")
        assert [each.accession_number for each, _ in again.tapes] == [TAPE]
        undo(work, newest(work, ObjectKind.PROGRAM, 2), NewUndo())
        done = tape_requests.hand_out(work, wanted, Handing(tape="1979.2", place="Show table"))
        assert (done.status, done.handed) == (RequestStatus.HANDED_OUT, "1979.2")
