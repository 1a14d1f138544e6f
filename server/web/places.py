"""Places: the tree, one place with what lies in it, and its list on paper."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import lying, movements, place_records, places, shelf_check_records
from server.catalog.errors import Invalid
from server.catalog.lying import Lying
from server.catalog.place_values import (
    Missing,
    Move,
    MovementQuery,
    MovementRecord,
    NewPlace,
    PlaceChange,
    PlaceKind,
    PlaceMove,
    PlaceQuery,
    PlaceRecord,
    PlaceRow,
)
from server.catalog.tape_values import Page, PageQuery
from server.catalog.work import Work
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.place_field import chosen
from server.web.tape_forms import revision_of
from server.web.visit import Act, Visit, VisitDep

router = APIRouter()

DESCRIBED = ("name", "kind", "note")
MOVES_SHOWN = 8


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacesPage(PageContext):
    """The tree, a page at a time; `missing` is how many tapes nobody finds, `lent` how many."""

    template: ClassVar[str] = "pages/places.html"
    title: str = "Places"
    query: PlaceQuery
    found: Page[PlaceRow]
    missing: int
    lent: int
    form: Filled
    kinds: tuple[PlaceKind, ...] = tuple(PlaceKind)


@dataclass(frozen=True, kw_only=True, slots=True)
class PlacePage(PageContext):
    """One place: what lies in it, what belongs there and is elsewhere, what came and went.

    `check` is the shelf check that goes on there, if one does.
    """

    template: ClassVar[str] = "pages/place.html"
    place: PlaceRecord
    tapes: Page[Lying]
    away: tuple[Lying, ...]
    moves: Page[MovementRecord]
    offered: tuple[str, ...]
    form: Filled
    check: int | None
    kinds: tuple[PlaceKind, ...] = tuple(PlaceKind)

    @classmethod
    def of(
        cls, visit: Visit, work: Work, place_id: int, form: Filled | None = None, page: int = 1
    ) -> "PlacePage":
        """The page as the place stands."""
        place = place_records.get(work, place_id)
        size = visit.settings.page_size
        return cls(
            title=place.path,
            place=place,
            tapes=lying.within_place(work, place_id, PageQuery(page=page, page_size=size)),
            away=lying.away_from(work, place_id),
            moves=movements.page(work, MovementQuery(place=place_id, page_size=MOVES_SHOWN)),
            offered=place_records.offered(work),
            check=shelf_check_records.open_at(work, place_id),
            form=(form or Filled()).over({name: getattr(place, name) for name in DESCRIBED}),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class PlaceListPage(PageContext):
    """What lies in a place, to be printed and taken to it."""

    template: ClassVar[str] = "pages/place_list.html"
    place: PlaceRecord
    tapes: tuple[Lying, ...]
    away: tuple[Lying, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class MovementsPage(PageContext):
    """Movements, newest first: of one tape, of one place, or all."""

    template: ClassVar[str] = "pages/movements.html"
    query: MovementQuery
    found: Page[MovementRecord]
    place: PlaceRecord | None


def _tree(visit: Visit, work: Work, form: Filled | None = None) -> PlacesPage:
    params = visit.request.query_params
    asked = {name: params[name] for name in ("q", "page", "closed") if params.get(name)}
    query = PlaceQuery.of({**asked, "page_size": visit.settings.page_size})
    missing, lent = lying.in_no_place(work)
    return PlacesPage(
        query=query,
        found=place_records.page(work, query),
        missing=missing,
        lent=lent,
        form=form or Filled({"kind": PlaceKind.ROOM}),
    )


@router.get("/places")
def browse(visit: VisitDep) -> Response:
    """The tree."""
    with visit.work() as work:
        return visit.page(_tree(visit, work), block="results")


@router.post("/places")
def create(visit: VisitDep, form: FormDep) -> Response:
    """Enter a place that stands by itself."""

    def act(work: Work) -> Response:
        made = places.create(work, NewPlace.of(form.only(DESCRIBED)))
        return visit.redirect(f"/places/{made.id}")

    return visit.submit(form, act, lambda work, filled: _tree(visit, work, filled))


@router.get("/places/{place_id}")
def show(visit: VisitDep, place_id: int) -> Response:
    """One place."""
    number = visit.request.query_params.get("page", "1")
    page = PageQuery.of({"page": number}).page
    with visit.work() as work:
        return visit.page(PlacePage.of(visit, work, place_id, page=page), block="results")


@router.get("/places/{place_id}/list")
def show_list(visit: VisitDep, place_id: int) -> Response:
    """What lies in it, for paper."""
    with visit.work() as work:
        place = place_records.get(work, place_id)
        return visit.page(
            PlaceListPage(
                title=f"What is in {place.path}",
                place=place,
                tapes=lying.all_within(work, place_id),
                away=lying.away_from(work, place_id),
            )
        )


@router.post("/places/{place_id}")
def act_on_ticked(visit: VisitDep, place_id: int, form: FormDep) -> Response:
    """Move the tapes that are ticked, or say that they are missing."""

    def act(work: Work) -> Response:
        ticked = form.texts("tick")
        if not ticked:
            raise Invalid(
                "Nothing is ticked.",
                where="tick",
                mend="Tick the tapes first.",
                fields={"tick": "tick at least one tape"},
            )
        _carry_out(work, form, ticked)
        return visit.redirect(f"/places/{place_id}")

    return _again(visit, place_id, form, act)


def _carry_out(work: Work, form: Form, ticked: tuple[str, ...]) -> None:
    given = {"tapes": ticked, "why": form.text("why")}
    if form.text("do") == "missing":
        movements.mark_missing(work, Missing.of(given))
    else:
        usual = form.text("usual") == "yes"
        to = {"written": form.text("written"), "usual": usual}
        movements.put(work, Move.of({**given, **to}))


@router.post("/places/{place_id}/inside")
def create_inside(visit: VisitDep, place_id: int, form: FormDep) -> Response:
    """Enter a place in this one."""

    def act(work: Work) -> Response:
        given = {"name": form.text("inner"), "kind": form.text("inner_kind"), "parent": place_id}
        made = places.create(work, NewPlace.of(given))
        return visit.redirect(f"/places/{made.id}")

    return _again(visit, place_id, form, act)


@router.post("/places/{place_id}/change")
def change(visit: VisitDep, place_id: int, form: FormDep) -> Response:
    """Change what is said of it."""

    def act(work: Work) -> Response:
        given = PlaceChange.of(form.only(DESCRIBED))
        places.change(work, place_id, given, revision_of(form))
        return visit.redirect(f"/places/{place_id}")

    return _again(visit, place_id, form, act)


@router.post("/places/{place_id}/move")
def move(visit: VisitDep, place_id: int, form: FormDep) -> Response:
    """Put it elsewhere, with all that is in it."""

    def act(work: Work) -> Response:
        parent = chosen(work, form.text("parent"), "parent")
        given = PlaceMove.of({"parent": parent, "why": form.text("why")})
        movements.move_place(work, place_id, given, revision_of(form))
        return visit.redirect(f"/places/{place_id}")

    return _again(visit, place_id, form, act)


@router.post("/places/{place_id}/close")
def close(visit: VisitDep, place_id: int, form: FormDep) -> Response:
    """Take it out of use, or into use again."""

    def act(work: Work) -> Response:
        (places.reopen if form.text("do") == "reopen" else places.close)(work, place_id)
        return visit.redirect(f"/places/{place_id}")

    return _again(visit, place_id, form, act)


def _again(visit: Visit, place_id: int, form: Form, act: Act) -> Response:
    """What `act` answers; where it refuses, the page as it is now, the form kept."""
    return visit.submit(form, act, lambda work, filled: PlacePage.of(visit, work, place_id, filled))


@router.get("/movements")
def browse_movements(visit: VisitDep) -> Response:
    """Who moved what, when, why, from where to where."""
    params = visit.request.query_params
    asked = {name: params[name] for name in ("tape", "place", "page") if params.get(name)}
    query = MovementQuery.of({**asked, "page_size": visit.settings.page_size})
    with visit.work() as work:
        found = movements.page(work, query)
        place = None if query.place is None else place_records.get(work, query.place)
        about = f" of tape {query.tape}" if query.tape else f" of {place.path}" if place else ""
        page = MovementsPage(title=f"Movements{about}", query=query, found=found, place=place)
        return visit.page(page, block="results")
