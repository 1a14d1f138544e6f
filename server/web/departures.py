"""Deaccession: the form by which a tape leaves, what is shown of it then, and its way back."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import deaccession, events, merged, tapes
from server.catalog.deaccession import DeaccessionRecord, Departure, NewDeaccession
from server.catalog.events import EventRecord, ObjectKind
from server.catalog.merging_values import MergedRow
from server.catalog.tape_values import Page, TapeRecord
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.visit import VisitDep

router = APIRouter()

ASKED = tuple(NewDeaccession.model_fields)


@dataclass(frozen=True, kw_only=True, slots=True)
class DepartedPage(PageContext):
    """What is left of a tape that left: its record, and why it is not here."""

    template: ClassVar[str] = "pages/departed.html"
    tape: TapeRecord
    departures: tuple[DeaccessionRecord, ...]
    merged: Page[MergedRow]
    history: tuple[EventRecord, ...]
    form: Filled


@dataclass(frozen=True, kw_only=True, slots=True)
class DeaccessionFormPage(PageContext):
    """The form by which a tape leaves."""

    template: ClassVar[str] = "pages/deaccession_form.html"
    tape: TapeRecord
    form: Filled
    methods: tuple[Departure, ...] = tuple(Departure)


def departed_page(work: Work, number: str, form: Filled | None = None) -> DepartedPage:
    """The page of a tape that left the collection."""
    tape = tapes.get(work, number)
    return DepartedPage(
        title=f"Tape {tape.accession_number} left the collection",
        tape=tape,
        departures=deaccession.of(work, number),
        merged=merged.page(work, tape=number),
        history=events.of(work, ObjectKind.TAPE, number),
        form=form or Filled(),
    )


def _form_page(work: Work, number: str, form: Filled) -> DeaccessionFormPage:
    work.actor.require(Role.ARCHIVIST)
    tape = tapes.get(work, number)
    return DeaccessionFormPage(title=f"Tape {number} leaves", tape=tape, form=form)


@router.get("/tapes/{number}/deaccession")
def ask(visit: VisitDep, number: str) -> Response:
    """The form by which a tape leaves."""
    with visit.work() as work:
        today = Filled({"decided_on": work.now.date().isoformat()})
        return visit.page(_form_page(work, number, today))


@router.post("/tapes/{number}/deaccession")
def leave(visit: VisitDep, number: str, form: FormDep) -> Response:
    """Take a tape out of the collection."""

    def act(work: Work) -> Response:
        deaccession.record(work, number, NewDeaccession.of(form.only(ASKED)))
        return visit.redirect(f"/tapes/{number}")

    return visit.submit(form, act, lambda work, filled: _form_page(work, number, filled))


@router.post("/tapes/{number}/reaccession")
def come_back(visit: VisitDep, number: str, form: FormDep) -> Response:
    """Make a tape that left one of the collection again."""

    def act(work: Work) -> Response:
        deaccession.take_back(work, number, form.text("why"))
        return visit.redirect(f"/tapes/{number}")

    return visit.submit(form, act, lambda work, filled: departed_page(work, number, filled))
