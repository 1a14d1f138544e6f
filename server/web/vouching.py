"""What an archivist does with an image: vouch for it, and make a version of a program of it."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import images, programs, tapes, verification
from server.catalog.program_values import NewProgram, NewVersion
from server.catalog.records import ImageRecord
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.program_field import chosen, offered
from server.web.program_words import ProgramWords, known_language
from server.web.visit import VisitDep

router = APIRouter()

VERSION = ("label", "note", "instructions", "faults")
"""What is said of a version."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ProofPage(PageContext):
    """The form in which somebody vouches for an image."""

    template: ClassVar[str] = "pages/proof_read.html"
    image: ImageRecord
    form: Filled

    @classmethod
    def of(cls, work: Work, sha256: str, form: Filled) -> "ProofPage":
        """The form for the image with this digest."""
        work.actor.require(Role.ARCHIVIST)
        image = images.get(work, sha256)
        return cls(title=f"Proof-read {image.title}", image=image, form=form)


@dataclass(frozen=True, kw_only=True, slots=True)
class VersionPage(PageContext):
    """The form that makes a version of an image, of a program that is held or of a new one."""

    template: ClassVar[str] = "pages/version_form.html"
    image: ImageRecord
    form: Filled
    programs: tuple[str, ...]
    words: ProgramWords

    @classmethod
    def of(cls, work: Work, sha256: str, form: Filled | None = None) -> "VersionPage":
        """The form for the image with this digest."""
        work.actor.require(Role.ARCHIVIST)
        image = images.get(work, sha256)
        language = known_language(work, image.language)
        filled = form or Filled({"program_title": image.title, "language": language})
        return cls(
            title=f"Make {image.title} a version",
            image=image,
            form=filled,
            programs=offered(work),
            words=ProgramWords.of(work, filled.values),
        )


def _program_of(work: Work, form: Form) -> int:
    held = chosen(work, form.text("program"))
    if held is not None:
        return held
    new = {"title": form.text("program_title"), **form.only(("language", "machine"))}
    return programs.create(work, NewProgram.of(new)).id


@router.get("/images/{sha256}/proof-read")
def proof_form(visit: VisitDep, sha256: str) -> Response:
    """The form in which somebody vouches for an image."""
    with visit.work() as work:
        return visit.page(ProofPage.of(work, sha256, Filled()))


@router.post("/images/{sha256}/proof-read")
def proof_read(visit: VisitDep, sha256: str, form: FormDep) -> Response:
    """Vouch for an image."""

    def act(work: Work) -> Response:
        verification.proof_read(work, sha256, form.text("note"))
        return visit.redirect(f"/images/{sha256}")

    return visit.submit(form, act, lambda work, filled: ProofPage.of(work, sha256, filled))


@router.get("/images/{sha256}/version")
def version_form(visit: VisitDep, sha256: str) -> Response:
    """The form that makes a version."""
    with visit.work() as work:
        return visit.page(VersionPage.of(work, sha256))


@router.post("/images/{sha256}/version")
def make_version(visit: VisitDep, sha256: str, form: FormDep) -> Response:
    """Make a version of an image."""

    def act(work: Work) -> Response:
        new = NewVersion.of({"sha256": sha256, **form.only(VERSION)})
        program = programs.add_version(work, _program_of(work, form), new)
        return visit.redirect(f"/programs/{program.id}")

    return visit.submit(form, act, lambda work, filled: VersionPage.of(work, sha256, filled))


@router.post("/images/{sha256}/attach")
def attach(visit: VisitDep, sha256: str, form: FormDep) -> Response:
    """Put an image to a tape that is held."""
    with visit.change(form) as work:
        tape = tapes.attach(work, form.text("accession_number").strip(), sha256)
        return visit.redirect(f"/tapes/{tape.accession_number}")
