"""What is said of requests by demonstrators: lists, and one with what could settle it."""

from sqlalchemy import ColumnElement, func, select, true
from sqlmodel import col

from server.catalog import named, punching_records
from server.catalog.errors import NotFound
from server.catalog.held import known, may_be_id, tape_of
from server.catalog.narrowing import AnySelect
from server.catalog.punching_values import PunchingRow
from server.catalog.records import TapeLink
from server.catalog.request_values import (
    RequestQuery,
    RequestRecord,
    RequestRow,
    RequestStatus,
)
from server.catalog.tape_values import Page
from server.catalog.work import COMMAND, Role, Work
from server.store.images import ImageRow, Reading
from server.store.loans import TapeRequest
from server.store.people import Person
from server.store.programs import Program, Version
from server.store.punching import Punching
from server.store.tapes import Tape

MOST = 50
"""Tapes, images and punchings that are offered to settle one request."""


def page(work: Work, query: RequestQuery) -> Page[RequestRow]:
    """One page of requests, the newest first; open ones by the day on which they are wanted.

    Raises:
        NotSignedIn: they are told to those who work here.
        NotFound: there is no such tape.
    """
    work.actor.require(Role.VOLUNTEER)
    condition: ColumnElement[bool] = true()
    if query.tape is not None:
        condition &= col(TapeRequest.tape_id) == tape_of(work, query.tape).id
    if query.program is not None:
        condition &= col(TapeRequest.program_id) == query.program
    if query.status is not None:
        condition &= col(TapeRequest.status) == query.status
    is_open = query.status is RequestStatus.OPEN
    order = col(TapeRequest.wanted_on) if is_open else col(TapeRequest.id).desc()
    total = work.session.scalar(select(func.count()).select_from(TapeRequest).where(condition))
    part = _asked(work, condition).order_by(order, col(TapeRequest.id))
    part = part.offset((query.page - 1) * query.page_size).limit(query.page_size)
    rows = tuple(_row(work, *each) for each in work.session.execute(part))
    return Page(rows, total or 0, query.page, query.page_size)


def get(work: Work, request_id: int) -> RequestRecord:
    """A request, and what could settle it.

    Raises:
        NotSignedIn: they are told to those who work here.
        NotFound: there is none of that id.
    """
    work.actor.require(Role.VOLUNTEER)
    request = request_of(work, request_id)
    asked = work.session.execute(_asked(work, col(TapeRequest.id) == request_id))
    row = _row(work, *asked.one())
    is_open = row.status is RequestStatus.OPEN
    handed = None if request.handed_id is None else work.session.get(Tape, request.handed_id)
    return RequestRecord(
        id=row.id,
        title=row.title,
        tape=row.tape,
        program=row.program,
        wanted_on=row.wanted_on,
        purpose=row.purpose,
        status=row.status,
        asked_at=request.asked_at,
        asked_by=row.asked_by,
        settled_at=request.settled_at,
        settled_by=named.told_of(work, request.settled_by_id) if request.settled_at else None,
        punching=request.punching_id,
        handed=None if handed is None else handed.accession_number,
        note=request.note,
        days=row.days,
        revision=request.revision,
        tapes=_tapes(work, request) if is_open else (),
        images=_images(work, request) if is_open else (),
        punchings=_punchings(work, request) if is_open else (),
    )


def request_of(work: Work, request_id: int) -> TapeRequest:
    """A request.

    Raises:
        NotFound: there is none of that id.
    """
    found = work.session.get(TapeRequest, request_id) if may_be_id(request_id) else None
    if found is None:
        raise NotFound(
            f"There is no request {request_id}.",
            where=str(request_id),
            mend="Look for it in the queue of requests.",
        )
    return found


def _asked(work: Work, condition: ColumnElement[bool]) -> AnySelect:
    """Requests, each with the tape or the program that is wanted and the name of who asks."""
    question: AnySelect = (
        select(
            TapeRequest,
            col(Tape.accession_number),
            func.coalesce(col(Tape.title), col(Program.title)),
            named.name_of(work),
        )
        .outerjoin(Tape, col(Tape.id) == col(TapeRequest.tape_id))
        .outerjoin(Program, col(Program.id) == col(TapeRequest.program_id))
        .outerjoin(Person, col(Person.id) == col(TapeRequest.asked_by_id))
        .where(condition)
    )
    return question


def _row(
    work: Work, request: TapeRequest, number: str | None, title: str, name: str | None
) -> RequestRow:
    is_open = request.status == RequestStatus.OPEN
    return RequestRow(
        id=known(request.id),
        title=title,
        tape=number,
        program=request.program_id,
        wanted_on=request.wanted_on,
        purpose=request.purpose,
        status=RequestStatus(request.status),
        asked_by=name or COMMAND.name,
        days=(request.wanted_on - work.now.date()).days if is_open else None,
    )


def fitting_punchings(request: TapeRequest) -> ColumnElement[bool]:
    """Whether a punching is of what was asked for, and was at work since then."""
    if request.program_id is not None:
        versions = select(col(Version.id)).where(col(Version.program_id) == request.program_id)
        copies = select(col(Tape.id)).where(col(Tape.program_id) == request.program_id)
        of_it: ColumnElement[bool] = col(Punching.version_id).in_(versions)
        of_it |= col(Punching.tape_id).in_(copies)
    else:
        read = select(col(Reading.image_id)).where(col(Reading.tape_id) == request.tape_id)
        of_it = col(Punching.image_id).in_(read)
    return of_it & (col(Punching.updated_at) >= request.asked_at)


def _punchings(work: Work, request: TapeRequest) -> tuple[PunchingRow, ...]:
    return punching_records.rows(work, fitting_punchings(request), offset=0, limit=MOST)


def _tapes(work: Work, request: TapeRequest) -> tuple[tuple[TapeLink, str], ...]:
    wanted = (
        col(Tape.id) == request.tape_id
        if request.tape_id is not None
        else col(Tape.program_id) == request.program_id
    )
    rows = work.session.execute(
        select(col(Tape.accession_number), col(Tape.title), col(Tape.place))
        .where(wanted, col(Tape.deaccessioned_on).is_(None))
        .order_by(col(Tape.accession_key))
        .limit(MOST)
    )
    return tuple((TapeLink(number, title), place) for number, title, place in rows)


def _images(work: Work, request: TapeRequest) -> tuple[tuple[str, str], ...]:
    """The images to punch from: of a program its masters, of a tape its newest."""
    if request.program_id is not None:
        masters = (
            select(col(ImageRow.sha256), col(Version.label))
            .join(Version, col(Version.image_id) == col(ImageRow.id))
            .where(col(Version.program_id) == request.program_id)
            .order_by(col(Version.id).desc())
            .limit(MOST)
        )
        rows = work.session.execute(masters)
        return tuple((sha256, f"version {label}") for sha256, label in rows)
    newest = select(col(ImageRow.sha256)).join(Tape, col(Tape.image_id) == col(ImageRow.id))
    found = work.session.scalars(newest.where(col(Tape.id) == request.tape_id))
    return tuple((sha256, "what was read from it") for sha256 in found)
