"""Shelf checks: begun at a place, ticked along the shelf, closed with a report."""

import re
from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import shelf_check_records, shelf_checks
from server.catalog.errors import NotFound, refused
from server.catalog.shelf_check_values import (
    CheckQuery,
    CheckRecord,
    CheckRow,
    Closing,
    Found,
    Outcome,
)
from server.catalog.tape_values import Page
from server.catalog.work import Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.tape_forms import revision_of
from server.web.visit import Act, Visit, VisitDep

router = APIRouter()

DIFFERENCES = tuple(each for each in Outcome if each.differs)


@dataclass(frozen=True, kw_only=True, slots=True)
class ChecksPage(PageContext):
    """A page of the list."""

    template: ClassVar[str] = "pages/shelf_checks.html"
    title: str = "Shelf checks"
    found: Page[CheckRow]


@dataclass(frozen=True, kw_only=True, slots=True)
class CheckPage(PageContext):
    """One check: while it goes on, what is still to be seen; then its report."""

    template: ClassVar[str] = "pages/shelf_check.html"
    check: CheckRecord
    form: Filled
    differences: tuple[Outcome, ...] = DIFFERENCES

    @classmethod
    def of(cls, work: Work, check_id: int, form: Filled | None = None) -> "CheckPage":
        """The page as the check stands."""
        check = shelf_check_records.get(work, check_id)
        what = "Report of the shelf check" if check.closed else "Shelf check"
        return cls(
            title=f"{what}: {check.place.path}",
            check=check,
            form=form or Filled({"mark_missing": "yes", "move_found": "yes"}),
        )


def numbers_in(text: str) -> tuple[str, ...]:
    """The accession numbers in what was typed or scanned: labels lead to the page of a tape."""
    return tuple(part.rstrip("/").rpartition("/")[2] for part in re.split(r"[\s,;]+", text) if part)


@router.get("/shelf-checks")
def browse(visit: VisitDep) -> Response:
    """The list of checks."""
    params = visit.request.query_params
    asked = {name: params[name] for name in ("place", "page") if params.get(name)}
    query = CheckQuery.of({**asked, "page_size": visit.settings.page_size})
    with visit.work() as work:
        found = shelf_check_records.page(work, query)
        return visit.page(ChecksPage(found=found), block="results")


@router.post("/places/{place_id}/check")
def begin(visit: VisitDep, place_id: int, form: FormDep) -> Response:
    """Begin a check, or go on with the one that is open."""
    with visit.change(form) as work:
        going_on = shelf_check_records.open_at(work, place_id)
        check_id = going_on or shelf_checks.begin(work, place_id).id
        return visit.redirect(f"/shelf-checks/{check_id}")


@router.get("/shelf-checks/{check_id}")
def show(visit: VisitDep, check_id: int) -> Response:
    """One check."""
    with visit.work() as work:
        return visit.page(CheckPage.of(work, check_id))


@router.post("/shelf-checks/{check_id}/found")
def find(visit: VisitDep, check_id: int, form: FormDep) -> Response:
    """Note what was ticked, and what was typed or scanned."""

    def act(work: Work) -> Response:
        ticked, typed = form.texts("tick"), numbers_in(form.text("numbers"))
        if ticked:
            shelf_checks.find(work, check_id, Found.of({"tapes": ticked}))
        if typed:
            _note(work, check_id, Found.of({"tapes": typed, "place": form.text("place")}))
        return visit.redirect(f"/shelf-checks/{check_id}")

    return _again(visit, check_id, form, act)


def _note(work: Work, check_id: int, found: Found) -> None:
    try:
        shelf_checks.find(work, check_id, found)
    except NotFound as missing:
        # What was typed is shown again, to be put right.
        raise refused("numbers", missing.what, "Put the number right, or note it below.") from None


@router.post("/shelf-checks/{check_id}/not-found")
def take_back(visit: VisitDep, check_id: int, form: FormDep) -> Response:
    """Take back that a tape was seen."""

    def act(work: Work) -> Response:
        shelf_checks.take_back(work, check_id, form.texts("tape"))
        return visit.redirect(f"/shelf-checks/{check_id}")

    return _again(visit, check_id, form, act)


@router.post("/shelf-checks/{check_id}/close")
def close(visit: VisitDep, check_id: int, form: FormDep) -> Response:
    """Close it with its report."""

    def act(work: Work) -> Response:
        chosen = {name: form.text(name) == "yes" for name in ("mark_missing", "move_found")}
        given = Closing.of({**chosen, "note": form.text("note")})
        shelf_checks.close(work, check_id, given, revision_of(form))
        return visit.redirect(f"/shelf-checks/{check_id}")

    return _again(visit, check_id, form, act)


def _again(visit: Visit, check_id: int, form: Form, act: Act) -> Response:
    """What `act` answers; where it refuses, the page as it is now, the form kept."""
    return visit.submit(form, act, lambda work, filled: CheckPage.of(work, check_id, filled))
