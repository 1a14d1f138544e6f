"""Programs: the list, one program with its versions, and the form of one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import programs
from server.catalog.program_values import (
    LinkKind,
    NewProgram,
    ProgramChange,
    ProgramQuery,
    ProgramRecord,
    ProgramRow,
)
from server.catalog.tape_values import Page
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.program_field import offered
from server.web.program_words import ProgramWords
from server.web.tape_forms import revision_of
from server.web.visit import VisitDep

router = APIRouter()

FIELDS = (
    "title",
    "language",
    "machine",
    "memory",
    "description",
    "instructions",
    "faults",
    "rights",
)
"""The fields of one value each."""

WORDS = ("language", "machine", "peripheral")
"""What the list of programs may be narrowed by."""

IN_A_ROW = ("about", "certainty", "note")
ATTRIBUTION_ROWS = 2
"""Empty rows for notes on authors and origin."""


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
    form: Filled
    programs: tuple[str, ...]
    kinds: tuple[LinkKind, ...] = tuple(LinkKind)


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramFormPage(PageContext):
    """The form of a program: of a new one, or of one that is held (`program`)."""

    template: ClassVar[str] = "pages/program_form.html"
    form: Filled
    words: ProgramWords
    rows: int
    program: ProgramRecord | None = None


def _new_page(work: Work, form: Filled) -> ProgramFormPage:
    work.actor.require(Role.ARCHIVIST)
    words = ProgramWords.of(work, form.values)
    return ProgramFormPage(title="Enter a program", form=form, words=words, rows=_rows(form))


def _edit_page(work: Work, program_id: int, form: Filled | None = None) -> ProgramFormPage:
    work.actor.require(Role.ARCHIVIST)
    program = programs.get(work, program_id)
    filled = form or Filled(_as_it_stands(program))
    return ProgramFormPage(
        title=f"Change {program.title}",
        form=filled,
        words=ProgramWords.of(work, filled.values),
        rows=_rows(filled),
        program=program,
    )


def _as_it_stands(program: ProgramRecord) -> dict[str, Any]:
    alone = {name: getattr(program, name) for name in (*FIELDS, "revision", "peripherals")}
    told = tuple(each.model_dump() for each in program.attributions)
    titles = "\n".join(program.variant_titles)
    return {**alone, "variant_titles": titles, **_as_rows(told)}


def _as_rows(told: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    return {
        f"attributions.{row}.{name}": each[name]
        for row, each in enumerate(told)
        for name in IN_A_ROW
    }


def _rows(form: Filled) -> int:
    """How many rows of notes the form needs, some of them empty."""
    notes = [name for name in form.values if name.startswith("attributions.")]
    held = {name.split(".")[1] for name in notes if name.endswith(".note") and form.value(name)}
    return len(held) + ATTRIBUTION_ROWS


def _told(form: Form) -> list[dict[str, str]]:
    """The notes in a form; a row without words is none."""
    numbers = sorted(
        int(name.split(".")[1])
        for name in form.fields
        if name.startswith("attributions.")
        and name.endswith(".note")
        and name.split(".")[1].isdecimal()
    )
    rows = [{name: form.text(f"attributions.{row}.{name}") for name in IN_A_ROW} for row in numbers]
    return [row for row in rows if row["note"].strip()]


def _given(form: Form) -> dict[str, Any]:
    """All that a form says of a program: it always says all of it."""
    titles = [line.strip() for line in form.text("variant_titles").splitlines()]
    return {
        **form.only(FIELDS),
        "variant_titles": [title for title in titles if title],
        "peripherals": list(form.texts("peripherals")),
        "attributions": _told(form),
    }


def _settled(form: Form, filled: Filled) -> Filled:
    """The form again, its notes without gaps, as they were numbered for the check."""
    alone = {
        name: value for name, value in filled.values.items() if not name.startswith("attributions.")
    }
    alone["peripherals"] = form.texts("peripherals")
    return Filled({**alone, **_as_rows(_told(form))}, filled.errors, filled.refusal)


def program_page(work: Work, program_id: int, form: Filled | None = None) -> ProgramPage:
    """The page of a program, with the form of a link for those who may make one."""
    program = programs.get(work, program_id)
    may_link = work.actor.role.includes(Role.ARCHIVIST)
    return ProgramPage(
        title=program.title,
        program=program,
        form=form or Filled(),
        programs=offered(work) if may_link else (),
    )


@router.get("/programs")
def browse(visit: VisitDep) -> Response:
    """The list of programs."""
    params = visit.request.query_params
    one = {name: params[name] for name in ("q", "page") if params.get(name)}
    many = {name: params.getlist(name) for name in WORDS}
    query = ProgramQuery.of({**one, **many, "page_size": visit.settings.page_size})
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
        program = programs.create(work, NewProgram.of(_given(form)))
        return visit.redirect(f"/programs/{program.id}")

    return visit.submit(form, act, lambda work, filled: _new_page(work, _settled(form, filled)))


@router.get("/programs/{program_id}")
def show(visit: VisitDep, program_id: int) -> Response:
    """One program."""
    with visit.work() as work:
        return visit.page(program_page(work, program_id))


@router.get("/programs/{program_id}/edit")
def edit(visit: VisitDep, program_id: int) -> Response:
    """The form of a program."""
    with visit.work() as work:
        return visit.page(_edit_page(work, program_id))


@router.post("/programs/{program_id}/edit")
def change(visit: VisitDep, program_id: int, form: FormDep) -> Response:
    """Change what is said of a program."""

    def act(work: Work) -> Response:
        given = ProgramChange.of(_given(form))
        programs.change(work, program_id, given, revision_of(form))
        return visit.redirect(f"/programs/{program_id}")

    return visit.submit(
        form, act, lambda work, filled: _edit_page(work, program_id, _settled(form, filled))
    )
