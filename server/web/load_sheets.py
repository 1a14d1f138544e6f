"""Load sheets: the page to print, the form that it is written in, and what it said before."""

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends
from starlette.requests import Request
from starlette.responses import Response

from server.catalog import load_sheets, load_subject
from server.catalog.errors import NotFound
from server.catalog.load_sheet_values import (
    FIELDS,
    NOTATION,
    NewTexts,
    SheetOf,
    SheetRecord,
    SheetRevision,
)
from server.catalog.work import Role, Work
from server.delivery.one_page import Fit, columns_of, fit_of
from server.delivery.sheet_sections import Section, imprint, sections
from server.tape.cpu.notation import Notation
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.tape_forms import revision_of
from server.web.visit import VisitDep

router = APIRouter()

OF_IMAGE, OF_VERSION = (
    "/images/{sha256}/sheet",
    "/programs/{program_id}/versions/{version_id}/sheet",
)

LABELS = {
    "needs": "First in the machine",
    "steps": "At the machine",
    "bootstrap": "Key in",
    "reader": "Tape and reader",
    "worked": "It worked when",
    "cautions": "Cautions",
    NOTATION: "Addresses written in",
}
"""What the texts are called, as they head the sheet."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SheetPage(PageContext):
    """The sheet as it is printed, with what to know before printing it."""

    template: ClassVar[str] = "pages/load_sheet.html"
    sheet: SheetRecord
    told: tuple[Section, ...]
    cell_columns: int
    imprint: str
    fit: Fit

    @classmethod
    def of(cls, sheet: SheetRecord) -> "SheetPage":
        """The page of `sheet`."""
        told = sections(sheet)
        return cls(
            title=f"Load sheet: {sheet.heading}",
            sheet=sheet,
            told=told,
            cell_columns=max(map(columns_of, (each for each in told if each.cells)), default=1),
            imprint=imprint(sheet),
            fit=fit_of(sheet),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class SheetFormPage(PageContext):
    """The form of a sheet."""

    template: ClassVar[str] = "pages/load_sheet_form.html"
    form: Filled
    sheet: SheetRecord
    labels: dict[str, str]
    notations: tuple[str, ...] = tuple(Notation)


@dataclass(frozen=True, kw_only=True, slots=True)
class SheetHistoryPage(PageContext):
    """What the sheet said before, newest first."""

    template: ClassVar[str] = "pages/load_sheet_history.html"
    sheet: SheetRecord
    revisions: tuple[SheetRevision, ...]
    labels: dict[str, str]


def _sheet_of(request: Request) -> SheetOf:
    """What the address names.

    Raises:
        NotFound: a number in it is none.
    """
    params = request.path_params
    if "sha256" in params:
        return SheetOf(sha256=params["sha256"])
    try:
        return SheetOf(program=int(params["program_id"]), version=int(params["version_id"]))
    except ValueError:
        raise NotFound(
            "There is no such load sheet.",
            where=request.url.path[:80],
            mend="Look for it on the page of the program.",
        ) from None


SheetOfDep = Annotated[SheetOf, Depends(_sheet_of)]


@router.get(OF_IMAGE)
@router.get(OF_VERSION)
def show(visit: VisitDep, of: SheetOfDep) -> Response:
    """A load sheet; that of an image whose content a version has is the sheet of the version."""
    with visit.work() as work:
        best = load_subject.best_for(work, of.sha256) if of.sha256 else of
        if best.version and not of.version:
            return visit.redirect(best.path)
        return visit.page(SheetPage.of(load_sheets.get(work, of)))


def _form_page(work: Work, of: SheetOf, form: Filled | None = None) -> SheetFormPage:
    work.actor.require(Role.VOLUNTEER)
    sheet = load_sheets.get(work, of)
    held = {**sheet.texts, NOTATION: sheet.notation or "", "revision": sheet.revision}
    return SheetFormPage(
        title=f"Write the load sheet of {sheet.heading}",
        form=form or Filled(held),
        sheet=sheet,
        labels=LABELS,
    )


@router.get(f"{OF_IMAGE}/edit")
@router.get(f"{OF_VERSION}/edit")
def edit(visit: VisitDep, of: SheetOfDep) -> Response:
    """The form of a load sheet."""
    with visit.work() as work:
        return visit.page(_form_page(work, of))


@router.post(f"{OF_IMAGE}/edit")
@router.post(f"{OF_VERSION}/edit")
def write(visit: VisitDep, of: SheetOfDep, form: FormDep) -> Response:
    """Write a load sheet."""

    def act(work: Work) -> Response:
        new = NewTexts.of(form.only((*FIELDS, "note")))
        load_sheets.put(work, of, new, revision_of(form))
        return visit.redirect(of.path)

    return visit.submit(form, act, lambda work, filled: _form_page(work, of, filled))


@router.get(f"{OF_IMAGE}/history")
@router.get(f"{OF_VERSION}/history")
def history(visit: VisitDep, of: SheetOfDep) -> Response:
    """What a load sheet said before."""
    with visit.work() as work:
        sheet = load_sheets.get(work, of)
        return visit.page(
            SheetHistoryPage(
                title=f"History of the load sheet of {sheet.heading}",
                sheet=sheet,
                revisions=load_sheets.history(work, of),
                labels=LABELS,
            )
        )


@router.post(f"{OF_IMAGE}/back")
@router.post(f"{OF_VERSION}/back")
def go_back(visit: VisitDep, of: SheetOfDep, form: FormDep) -> Response:
    """Let a load sheet say again what it said before."""
    to = form.text("to")
    with visit.change(form) as work:
        load_sheets.go_back(work, of, int(to) if to.isdecimal() else 0, revision_of(form))
        return visit.redirect(of.path)
