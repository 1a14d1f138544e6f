"""Programs: the list, one program with its versions, and the form of one."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import programs
from server.catalog.program_values import (
    NewProgram,
    ProgramChange,
    ProgramQuery,
    ProgramRecord,
    ProgramRow,
)
from server.catalog.tape_values import Page
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.tape_forms import revision_of
from server.web.visit import VisitDep

router = APIRouter()

FIELDS = tuple(NewProgram.model_fields)


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramsPage(PageContext):
    """A page of the list; `query` says what was asked for."""

    template: ClassVar[str] = "pages/programs.html"
    title: str = "Programs"
    query: ProgramQuery
    found: Page[ProgramRow]


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramPage(PageContext):
    """One program."""

    template: ClassVar[str] = "pages/program.html"
    program: ProgramRecord


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramFormPage(PageContext):
    """The form of a program: of a new one, or of one that is held (`program`)."""

    template: ClassVar[str] = "pages/program_form.html"
    form: Filled
    program: ProgramRecord | None = None


def _new_page(work: Work, form: Filled) -> ProgramFormPage:
    work.actor.require(Role.ARCHIVIST)
    return ProgramFormPage(title="Enter a program", form=form)


def _edit_page(work: Work, program_id: int, form: Filled | None = None) -> ProgramFormPage:
    work.actor.require(Role.ARCHIVIST)
    program = programs.get(work, program_id)
    held = {name: getattr(program, name) for name in (*FIELDS, "revision")}
    return ProgramFormPage(
        title=f"Change {program.title}", form=form or Filled(held), program=program
    )


@router.get("/programs")
def browse(visit: VisitDep) -> Response:
    """The list of programs."""
    params = visit.request.query_params
    asked = {name: params[name] for name in ("q", "page") if params.get(name)}
    query = ProgramQuery.of({**asked, "page_size": visit.settings.page_size})
    with visit.work() as work:
        found = programs.page(work, query)
        return visit.page(ProgramsPage(query=query, found=found), block="results")


@router.get("/programs/new")
def new(visit: VisitDep) -> Response:
    """The form of a new program."""
    with visit.work() as work:
        return visit.page(_new_page(work, Filled()))


@router.post("/programs/new")
def create(visit: VisitDep, form: FormDep) -> Response:
    """Enter a program."""

    def act(work: Work) -> Response:
        program = programs.create(work, NewProgram.of(form.only(FIELDS)))
        return visit.redirect(f"/programs/{program.id}")

    return visit.submit(form, act, _new_page)


@router.get("/programs/{program_id}")
def show(visit: VisitDep, program_id: int) -> Response:
    """One program."""
    with visit.work() as work:
        program = programs.get(work, program_id)
        return visit.page(ProgramPage(title=program.title, program=program))


@router.get("/programs/{program_id}/edit")
def edit(visit: VisitDep, program_id: int) -> Response:
    """The form of a program."""
    with visit.work() as work:
        return visit.page(_edit_page(work, program_id))


@router.post("/programs/{program_id}/edit")
def change(visit: VisitDep, program_id: int, form: FormDep) -> Response:
    """Change what is said of a program."""

    def act(work: Work) -> Response:
        given = ProgramChange.of(form.only(FIELDS))
        programs.change(work, program_id, given, revision_of(form))
        return visit.redirect(f"/programs/{program_id}")

    return visit.submit(form, act, lambda work, filled: _edit_page(work, program_id, filled))
