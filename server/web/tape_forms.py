"""Describing a tape: a new one, a change, and an image put to a tape."""

from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import tapes
from server.catalog.tape_values import NewTape, TapeChange, TapeRecord
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.program_field import label, offered, with_program
from server.web.visit import VisitDep

router = APIRouter()

DESCRIBED = tuple(NewTape.model_fields)
"""The fields in which a person describes a tape."""


@dataclass(frozen=True, kw_only=True, slots=True)
class TapeFormPage(PageContext):
    """The form of a tape: of a new one, or of one that is held (`tape`)."""

    template: ClassVar[str] = "pages/tape_form.html"
    form: Filled
    programs: tuple[str, ...]
    tape: TapeRecord | None = None


def new_page(work: Work, form: Filled) -> TapeFormPage:
    """The form of a new tape."""
    work.actor.require(Role.VOLUNTEER)
    return TapeFormPage(title="Describe a tape", form=form, programs=offered(work))


def edit_page(work: Work, number: str, form: Filled | None = None) -> TapeFormPage:
    """The form of a tape that is held, filled as it stands or as it was sent."""
    work.actor.require(Role.VOLUNTEER)
    tape = tapes.get(work, number)
    return TapeFormPage(
        title=f"Change tape {number}",
        form=form or Filled(_as_it_stands(tape)),
        programs=offered(work),
        tape=tape,
    )


def _as_it_stands(tape: TapeRecord) -> dict[str, Any]:
    values = {name: getattr(tape, name) for name in DESCRIBED}
    if tape.program is not None:
        values["program"] = label(tape.program, tape.program_title or "")
    return {**values, "revision": tape.revision}


def described(work: Work, form: Form) -> dict[str, Any]:
    """What a form says of a tape.

    Raises:
        Invalid: it names a program that is not known.
    """
    return with_program(work, form.only(DESCRIBED))


def revision_of(form: Form) -> int | None:
    """The revision that a form was made from; 0, which is never current, where it is no number."""
    text = form.text("revision")
    return int(text) if text.isdecimal() else 0


@router.get("/tapes/new")
def new(visit: VisitDep) -> Response:
    """The form of a new tape."""
    with visit.work() as work:
        return visit.page(new_page(work, Filled()))


@router.post("/tapes/new")
def create(visit: VisitDep, form: FormDep) -> Response:
    """Enter a tape."""

    def act(work: Work) -> Response:
        tape = tapes.create(work, NewTape.of(described(work, form)))
        return visit.redirect(f"/tapes/{tape.accession_number}")

    return visit.submit(form, act, new_page)


@router.get("/tapes/{number}/edit")
def edit(visit: VisitDep, number: str) -> Response:
    """The form of a tape."""
    with visit.work() as work:
        return visit.page(edit_page(work, number))


@router.post("/tapes/{number}/edit")
def change(visit: VisitDep, number: str, form: FormDep) -> Response:
    """Change what is said of a tape."""

    def act(work: Work) -> Response:
        change = TapeChange.of(described(work, form))
        tape = tapes.change(work, number, change, revision_of(form))
        return visit.redirect(f"/tapes/{tape.accession_number}")

    return visit.submit(form, act, lambda work, filled: edit_page(work, number, filled))
