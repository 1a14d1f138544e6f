"""What an archivist does with a whole program: link, merge, split it, describe its versions."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import links, program_merging, program_splitting, programs, versions
from server.catalog.errors import Invalid, NotFound
from server.catalog.program_merging import NewProgramMerge
from server.catalog.program_splitting import NewSplit
from server.catalog.program_values import NewLink, ProgramRecord, VersionChange, VersionRecord
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.program_field import NAME, chosen, offered
from server.web.programs import program_page
from server.web.tape_forms import revision_of
from server.web.visit import VisitDep

router = APIRouter(prefix="/programs/{program_id}")


@dataclass(frozen=True, kw_only=True, slots=True)
class MergePage(PageContext):
    """The form that merges a program into another one."""

    template: ClassVar[str] = "pages/program_merge.html"
    program: ProgramRecord
    programs: tuple[str, ...]
    form: Filled

    @classmethod
    def of(cls, work: Work, program_id: int, form: Filled) -> "MergePage":
        """The form for a program."""
        work.actor.require(Role.ARCHIVIST)
        program = programs.get(work, program_id)
        title = f"Merge {program.title} into another program"
        return cls(title=title, program=program, programs=offered(work), form=form)


@dataclass(frozen=True, kw_only=True, slots=True)
class SplitPage(PageContext):
    """The form that makes a program of some versions and tapes of another; `chosen` are ticked."""

    template: ClassVar[str] = "pages/program_split.html"
    program: ProgramRecord
    chosen: tuple[str, ...]
    form: Filled

    @classmethod
    def of(
        cls, work: Work, program_id: int, form: Filled, ticked: tuple[str, ...] = ()
    ) -> "SplitPage":
        """The form for a program."""
        work.actor.require(Role.ARCHIVIST)
        program = programs.get(work, program_id)
        return cls(title=f"Split {program.title}", program=program, chosen=ticked, form=form)


@dataclass(frozen=True, kw_only=True, slots=True)
class VersionEditPage(PageContext):
    """The form of what is said of a version."""

    template: ClassVar[str] = "pages/version_edit.html"
    program: ProgramRecord
    version: VersionRecord
    form: Filled

    @classmethod
    def of(
        cls, work: Work, program_id: int, version_id: int, form: Filled | None = None
    ) -> "VersionEditPage":
        """The form of a version, filled as it stands or as it was sent."""
        work.actor.require(Role.ARCHIVIST)
        program = programs.get(work, program_id)
        version = next((each for each in program.versions if each.id == version_id), None)
        if version is None:
            raise NotFound(
                f"{program.title} has no version of number {version_id}.",
                where=str(version_id),
                mend="Look at the versions of the program.",
            )
        held = {name: getattr(version, name) for name in (*versions.TOLD, "revision")}
        return cls(
            title=f"Change version {version.label} of {program.title}",
            program=program,
            version=version,
            form=form or Filled(held),
        )


@router.get("/merge")
def merge_form(visit: VisitDep, program_id: int) -> Response:
    """The form that merges a program into another one."""
    with visit.work() as work:
        return visit.page(MergePage.of(work, program_id, Filled()))


@router.post("/merge")
def merge(visit: VisitDep, program_id: int, form: FormDep) -> Response:
    """Merge a program into another one."""

    def act(work: Work) -> Response:
        new = NewProgramMerge.of({"into": _other(work, form), **form.only(("note",))})
        into = program_merging.merge(work, program_id, new)
        return visit.redirect(f"/programs/{into.id}")

    return visit.submit(form, act, lambda work, filled: MergePage.of(work, program_id, filled))


@router.get("/split")
def split_form(visit: VisitDep, program_id: int) -> Response:
    """The form that splits a program."""
    with visit.work() as work:
        return visit.page(SplitPage.of(work, program_id, Filled()))


@router.post("/split")
def split(visit: VisitDep, program_id: int, form: FormDep) -> Response:
    """Make a program of some versions and tapes of another one."""
    ticked = {name: form.texts(name) for name in ("versions", "tapes")}

    def act(work: Work) -> Response:
        new = NewSplit.of({**form.only(("title", "note")), **ticked})
        return visit.redirect(f"/programs/{program_splitting.split(work, program_id, new).id}")

    def again(work: Work, filled: Filled) -> SplitPage:
        return SplitPage.of(work, program_id, filled, (*ticked["versions"], *ticked["tapes"]))

    return visit.submit(form, act, again)


@router.post("/links")
def link(visit: VisitDep, program_id: int, form: FormDep) -> Response:
    """Link a program to another one."""

    def act(work: Work) -> Response:
        new = NewLink.of({"other": _other(work, form), **form.only(("kind", "note"))})
        links.add(work, program_id, new)
        return visit.redirect(f"/programs/{program_id}")

    return visit.submit(form, act, lambda work, filled: program_page(work, program_id, filled))


@router.post("/links/{link_id}/remove")
def unlink(visit: VisitDep, program_id: int, link_id: int, form: FormDep) -> Response:
    """Take a link away."""
    with visit.change(form) as work:
        links.remove(work, program_id, link_id)
        return visit.redirect(f"/programs/{program_id}")


@router.get("/versions/{version_id}/edit")
def version_form(visit: VisitDep, program_id: int, version_id: int) -> Response:
    """The form of what is said of a version."""
    with visit.work() as work:
        return visit.page(VersionEditPage.of(work, program_id, version_id))


@router.post("/versions/{version_id}/edit")
def change_version(visit: VisitDep, program_id: int, version_id: int, form: FormDep) -> Response:
    """Change what is said of a version."""

    def act(work: Work) -> Response:
        given = VersionChange.of(form.only(versions.TOLD))
        versions.change(work, program_id, version_id, given, revision_of(form))
        return visit.redirect(f"/programs/{program_id}")

    return visit.submit(
        form, act, lambda work, filled: VersionEditPage.of(work, program_id, version_id, filled)
    )


def _other(work: Work, form: Form) -> int:
    """The program that the form names.

    Raises:
        Invalid: it names none, or one that is not known.
    """
    found = chosen(work, form.text(NAME))
    if found is None:
        raise Invalid(
            "No program is named.",
            where=NAME,
            mend="Type its title, or choose one that is offered.",
            fields={NAME: "this must be given"},
        )
    return found
