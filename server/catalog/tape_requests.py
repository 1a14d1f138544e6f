"""What demonstrators ask for: a tape, or any tape of a program, for a day.

A request is settled by a punching that gave a new tape, or by a tape that was handed out.
"""

from typing import Any

from sqlalchemy import select
from sqlmodel import col

from server.catalog import changes, events, movements
from server.catalog.errors import Conflict, Invalid, Quarantined, refused
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known, program_of, tape_of
from server.catalog.lending import RULE, obstacles_to, require_held
from server.catalog.place_values import State
from server.catalog.punching_records import punching_of
from server.catalog.request_values import (
    Handing,
    NewRequest,
    Punched,
    RequestRecord,
    RequestStatus,
    Withdrawal,
)
from server.catalog.tape_request_records import fitting_punchings, get, request_of
from server.catalog.work import Role, Work
from server.store.loans import TapeRequest
from server.store.punching import Punching
from server.store.tapes import Tape


def ask(work: Work, new: NewRequest) -> RequestRecord:
    """Ask for a tape or a program for a day.

    Raises:
        NotFound: there is no such tape or program.
        Conflict: the tape left the collection.
        Invalid: the day is past.
    """
    work.actor.require(Role.VOLUNTEER)
    if new.wanted_on < work.now.date():
        raise refused("wanted_on", "give a day from today on", "Change the day.")
    tape = None if new.tape is None else tape_of(work, new.tape)
    if tape is not None:
        require_held(tape)
    program = None if new.program is None else program_of(work, new.program)
    request = TapeRequest(
        tape_id=None if tape is None else tape.id,
        program_id=None if program is None else program.id,
        wanted_on=new.wanted_on,
        purpose=new.purpose,
        status=RequestStatus.OPEN,
        asked_at=work.now,
        asked_by_id=work.actor.person_id,
        updated_at=work.now,
    )
    work.session.add(request)
    work.session.flush()
    return _logged(work, request, new.purpose, {"wanted_on": new.wanted_on.isoformat()})


def punched(
    work: Work, request_id: int, given: Punched, revision: int | None = None
) -> RequestRecord:
    """Say that a tape was punched for it.

    Raises:
        NotFound: there is no such request or punching.
        Conflict: it is settled already, or somebody changed it meanwhile.
        Invalid: the punching gave no tape yet, or is of something else.
    """
    work.actor.require(Role.VOLUNTEER)
    request = _open(work, request_id, revision)
    row = punching_of(work, given.punching)
    fits = select(col(Punching.id)).where(
        fitting_punchings(request), col(Punching.id) == row.id, col(Punching.tape_id).is_not(None)
    )
    if work.session.scalar(fits) is None:
        raise refused(
            "punching",
            "it gave no tape since this was asked for, or is of something else",
            "Read the new tape back first, or choose another punching.",
        )
    request.punching_id, request.handed_id = row.id, row.tape_id
    return _settled(work, request, RequestStatus.PUNCHED, f"punching {row.id}")


def hand_out(
    work: Work, request_id: int, given: Handing, revision: int | None = None
) -> RequestRecord:
    """Hand a tape out for it, within the house: it is moved to where it is shown.

    Raises:
        NotFound: there is no such request or tape.
        Conflict: it is settled already, the tape is lent, or somebody changed it meanwhile.
        Quarantined: something stands against it, and no archivist writes a reason.
        Invalid: the tape is not what was asked for.
    """
    work.actor.require(Role.VOLUNTEER)
    request = _open(work, request_id, revision)
    tape = tape_of(work, given.tape, to_change=True)
    require_held(tape)
    _require_wanted(request, tape)
    against = obstacles_to(tape)
    if against and not (given.reason and work.actor.role.includes(Role.ARCHIVIST)):
        raise Quarantined(
            f"Tape {tape.accession_number} is {' and '.join(against)}.",
            where=tape.accession_number,
            mend=f"{RULE} Punch a copy from its image, or hand out another tape.",
        )
    to = movements.where_to(work, given.place)
    if to.state is not State.PLACED:
        raise Invalid(
            "Nothing says where the tape goes.",
            where="place",
            mend="Write the place as room, shelf, box, or table.",
            fields={"place": "write where it is shown"},
        )
    movements.go(work, tape, to, f"handed out for request {request_id}")
    request.handed_id = tape.id
    facts = {"obstacles": list(against), "reason": given.reason}
    return _settled(work, request, RequestStatus.HANDED_OUT, given.reason, facts)


def lent(work: Work, request_id: int, tape: Tape, loan_id: int) -> None:
    """Settle a request, if it is still open, with a tape that was lent for it."""
    request = request_of(work, request_id)
    if request.status == RequestStatus.OPEN:
        request.handed_id = tape.id
        _settled(work, request, RequestStatus.HANDED_OUT, f"lent as loan {loan_id}")


def withdraw(
    work: Work, request_id: int, given: Withdrawal, revision: int | None = None
) -> RequestRecord:
    """Say that nothing comes of it: whoever asked, or an archivist.

    Raises:
        NotFound: there is no such request.
        NotAllowed: somebody else asked.
        Conflict: it is settled already, or somebody changed it meanwhile.
    """
    work.actor.require(Role.VOLUNTEER)
    request = _open(work, request_id, revision)
    if not work.actor.owns(request.asked_by_id):
        work.actor.require(Role.ARCHIVIST)
    request.note = given.why
    return _settled(work, request, RequestStatus.WITHDRAWN, given.why)


def require_fits(work: Work, request_id: int, tape: Tape) -> None:
    """Nothing, if the request is open and the tape is what was asked for.

    Raises:
        NotFound: there is no such request.
        Conflict: it is settled already.
        Invalid: the tape is not what was asked for.
    """
    _require_wanted(_open(work, request_id, None), tape)


def _require_wanted(request: TapeRequest, tape: Tape) -> None:
    wanted = (
        request.tape_id == tape.id if request.tape_id else request.program_id == tape.program_id
    )
    if not wanted:
        raise refused("tape", "this is not what was asked for", "Choose a tape that carries it.")


def _open(work: Work, request_id: int, revision: int | None) -> TapeRequest:
    request = request_of(work, request_id)
    work.session.refresh(request, with_for_update=True)
    changes.require_revision(request, revision, f"Request {request_id}")
    if request.status != RequestStatus.OPEN:
        raise Conflict(
            f"Request {request_id} is “{request.status}” already.",
            where=f"request {request_id}",
            mend="Look at it as it is now.",
        )
    return request


def _settled(
    work: Work,
    request: TapeRequest,
    status: RequestStatus,
    detail: str,
    facts: dict[str, Any] | None = None,
) -> RequestRecord:
    request.status = status
    request.settled_at, request.settled_by_id = work.now, work.actor.person_id
    request.revision += 1
    request.updated_at = work.now
    work.session.flush()
    return _logged(work, request, detail, facts)


def _logged(
    work: Work, request: TapeRequest, detail: str, facts: dict[str, Any] | None = None
) -> RequestRecord:
    key = known(request.id)
    events.record(
        work,
        EventType.REQUEST,
        ObjectKind.REQUEST,
        key,
        outcome=request.status,
        detail=detail,
        facts=facts,
    )
    return get(work, key)
