"""Families: the tree of a program's versions and kin, and what archivists decide about it."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import families, tapes
from server.catalog.errors import Invalid
from server.catalog.family_values import Decided, Family, NewDecision
from server.catalog.work import Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.visit import VisitDep

router = APIRouter()

_DIGEST = 64


@dataclass(frozen=True, kw_only=True, slots=True)
class FamilyPage(PageContext):
    """A family as a tree; `about` is the image whose page this is, none where a program's."""

    template: ClassVar[str] = "pages/family.html"
    family: Family
    about: str | None
    form: Filled

    @classmethod
    def of_image(cls, work: Work, sha256: str, form: Filled | None = None) -> "FamilyPage":
        """The family that an image belongs to."""
        family = families.of_image(work, sha256)
        return cls(
            title=f"Family of {family.title}",
            family=family,
            about=sha256.lower(),
            form=form or Filled(),
        )


@router.get("/programs/{program_id}/family")
def of_program(visit: VisitDep, program_id: int) -> Response:
    """The family of a program."""
    with visit.work() as work:
        family = families.of_program(work, program_id)
        title = f"Family of {family.title}"
        return visit.page(FamilyPage(title=title, family=family, about=None, form=Filled()))


@router.get("/images/{sha256}/family")
def of_image(visit: VisitDep, sha256: str) -> Response:
    """The family that an image belongs to."""
    with visit.work() as work:
        return visit.page(FamilyPage.of_image(work, sha256))


@router.post("/images/{sha256}/family")
def decide(visit: VisitDep, sha256: str, form: FormDep) -> Response:
    """Decide on an image and another one, or all of its family."""

    def act(work: Work) -> Response:
        given = {"kind": form.text("kind"), "note": form.text("note")}
        other = _other(work, form)
        family = families.decide(work, sha256, NewDecision.of(given | other))
        taken_out = given["kind"] == Decided.APART
        home = family.program is not None and not taken_out
        return visit.redirect(
            f"/programs/{family.program}/family" if home else f"/images/{sha256}/family"
        )

    return visit.submit(form, act, lambda work, filled: FamilyPage.of_image(work, sha256, filled))


def _other(work: Work, form: Form) -> dict[str, str]:
    """The other image: by its digest, or as the newest image of a tape."""
    given = form.text("other").strip()
    if not given:
        return {}
    if len(given) == _DIGEST:
        return {"other": given}
    image = tapes.get(work, given).image
    if image is None:
        raise Invalid(
            f"Nothing was read from tape {given} yet.",
            where="other",
            mend="Name a tape that was read, or the SHA-256 of an image.",
            fields={"other": "this tape has no image"},
        )
    return {"other": image.sha256}
