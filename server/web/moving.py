"""Moving one tape: where it is, where it belongs, where it goes; and how it moved before."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import movements, place_records, tapes
from server.catalog.place_values import Missing, Move, MovementQuery, MovementRecord, Whereabouts
from server.catalog.tape_values import Page, TapeRecord
from server.catalog.work import Role, Work
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.visit import VisitDep

router = APIRouter()

MOVES_SHOWN: Final = 20


@dataclass(frozen=True, kw_only=True, slots=True)
class MovePage(PageContext):
    """The form that moves one tape."""

    template: ClassVar[str] = "pages/move.html"
    tape: TapeRecord
    whereabouts: Whereabouts
    moves: Page[MovementRecord]
    offered: tuple[str, ...]
    form: Filled

    @classmethod
    def of(cls, work: Work, number: str, form: Filled | None = None) -> "MovePage":
        """The page as the tape lies."""
        work.actor.require(Role.VOLUNTEER)
        return cls(
            title=f"Move tape {number}",
            tape=tapes.get(work, number),
            whereabouts=movements.of(work, number),
            moves=movements.page(work, MovementQuery(tape=number, page_size=MOVES_SHOWN)),
            offered=place_records.offered(work),
            form=form or Filled(),
        )


@router.get("/tapes/{number}/move")
def show(visit: VisitDep, number: str) -> Response:
    """The form."""
    with visit.work() as work:
        return visit.page(MovePage.of(work, number))


@router.post("/tapes/{number}/move")
def move(visit: VisitDep, number: str, form: FormDep) -> Response:
    """Move the tape, or say that it is missing."""

    def act(work: Work) -> Response:
        given = {"tapes": (number,), "why": form.text("why")}
        if form.text("do") == "missing":
            movements.mark_missing(work, Missing.of(given))
        else:
            to = {"written": form.text("written"), "usual": form.text("usual") == "yes"}
            movements.put(work, Move.of({**given, **to}))
        return visit.redirect(f"/tapes/{number}")

    return visit.submit(form, act, lambda work, filled: MovePage.of(work, number, filled))
