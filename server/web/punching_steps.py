"""The steps of a punching: begun, punched, read back, given up or taken up again.

What is slow is done in a transaction of its own that only reads: the one that writes takes its
lock with its first statement, and so nobody waits meanwhile.
"""

from fastapi import APIRouter, Depends
from starlette.responses import Response

from server.catalog import preparing, punching, punching_start, read_backs
from server.catalog.errors import Conflict, Invalid, NotVerified
from server.catalog.punching_values import GivenUp, Punched, ReadBackFile
from server.catalog.work import Role, Work
from server.tape.preparing import Prepared
from server.web.downloads import AGREED
from server.web.forms import Form, FormDep, ReadingDep
from server.web.preparing import again_of, preparation_of
from server.web.punchings import PunchingPage
from server.web.upload import volunteer_first
from server.web.visit import Act, Visit, VisitDep

router = APIRouter()

PUNCHED = tuple(Punched.model_fields)


@router.post("/images/{sha256}/punchings")
def begin(visit: VisitDep, sha256: str, form: FormDep) -> Response:
    """Keep what the form of preparing asks for, to be punched."""

    def act(work: Work) -> Response:
        work.actor.require(Role.VOLUNTEER)
        with visit.work() as before:
            prepared = _prepared(visit, before, sha256, form)
        begun = punching_start.begin(work, sha256, preparation_of(form), prepared)
        return visit.redirect(f"/punchings/{begun[0].id}")

    return visit.submit(form, act, lambda work, filled: again_of(visit, work, sha256, filled))


def _prepared(visit: Visit, work: Work, sha256: str, form: Form) -> Prepared:
    agreed = form.text("acknowledged") == AGREED
    how = preparation_of(form)
    try:
        return preparing.prepare(work, sha256, how, acknowledged=agreed, formats=visit.formats)
    except NotVerified as refusal:
        # The box to tick stands on the page that the form came from.
        told = {"acknowledged": "Tick this box to punch it all the same."}
        raise Conflict(refusal.what, where=refusal.where, mend=refusal.mend, fields=told) from None


@router.post("/punchings/{punching_id}/punched")
def punched(visit: VisitDep, punching_id: int, form: FormDep) -> Response:
    """Say that the tape was punched."""

    def act(work: Work) -> Response:
        punching.punched(work, punching_id, Punched.of(form.only(PUNCHED)))
        return visit.redirect(f"/punchings/{punching_id}")

    return _step(visit, punching_id, form, act)


@router.post("/punchings/{punching_id}/read-back", dependencies=[Depends(volunteer_first)])
def read_back(visit: VisitDep, punching_id: int, form: ReadingDep) -> Response:
    """Compare a reading of the new tape with what was prepared, and settle what it is."""
    limit = visit.settings.upload_limit_bytes

    def act(work: Work) -> Response:
        file = _file(form, limit)
        with visit.work() as before:
            compared = read_backs.compare(before, punching_id, file, limit, visit.formats)
        read_backs.settle(work, compared)
        return visit.redirect(f"/punchings/{punching_id}")

    return _step(visit, punching_id, form, act)


def _file(form: Form, limit: int) -> ReadBackFile:
    if not form.files:
        raise Invalid(
            "No file was chosen.",
            where="file",
            mend="Choose the file with the frames that were read, one byte each.",
            fields={"file": "choose the file with the frames that were read"},
        )
    (file,) = form.files
    return ReadBackFile.of(
        {
            "file_name": file.filename or "file",
            "data": file.file.read(limit + 1),
            **form.only(("read_on", "reader")),
        }
    )


@router.post("/punchings/{punching_id}/again")
def again(visit: VisitDep, punching_id: int, form: FormDep) -> Response:
    """Go back to where the frames wait for the punch."""

    def act(work: Work) -> Response:
        punching.again(work, punching_id)
        return visit.redirect(f"/punchings/{punching_id}")

    return _step(visit, punching_id, form, act)


@router.post("/punchings/{punching_id}/give-up")
def give_up(visit: VisitDep, punching_id: int, form: FormDep) -> Response:
    """Say that no tape comes of it."""

    def act(work: Work) -> Response:
        punching.give_up(work, punching_id, GivenUp.of(form.only(("note",))))
        return visit.redirect(f"/punchings/{punching_id}")

    return _step(visit, punching_id, form, act)


def _step(visit: Visit, punching_id: int, form: Form, act: Act) -> Response:
    """What `act` answers; where it refuses, the page as it is now, the form kept."""

    def by_volunteer(work: Work) -> Response:
        work.actor.require(Role.VOLUNTEER)
        return act(work)

    return visit.submit(
        form,
        by_volunteer,
        lambda work, filled: PunchingPage.of(
            work, punching_id, visit.settings.upload_limit_bytes, filled
        ),
    )
