"""Search: every hit leads to the very line, with the run marked."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import search
from server.catalog.search import SearchPage, SearchQuery
from server.catalog.search_values import FACETS
from server.web.context import PageContext
from server.web.visit import VisitDep

router = APIRouter()

ONE = ("q", "line", "cursor")
SEVERAL = ("kind", *FACETS)

OPEN: Final = ("format", "check_status", "verification")
"""Facets whose values are shown at once."""


@dataclass(frozen=True, kw_only=True, slots=True)
class FoundPage(PageContext):
    """What was found for `query`."""

    template: ClassVar[str] = "pages/search.html"
    query: SearchQuery
    found: SearchPage
    shown: tuple[str, ...] = OPEN


@router.get("/search")
def find(visit: VisitDep) -> Response:
    """Search the whole library."""
    params = visit.request.query_params
    one = {name: params[name] for name in ONE if params.get(name)}
    several = {name: params.getlist(name) for name in SEVERAL}
    query = SearchQuery.of({**one, **several, "facets": True})
    with visit.work() as work:
        title = f"Search: {query.q}" if query.q.strip() else "Search"
        page = FoundPage(title=title, query=query, found=search.find(work, query))
        return visit.page(page, block="results")
