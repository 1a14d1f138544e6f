"""Search: every hit leads to the very line, with the run marked."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import search
from server.catalog.search import SearchPage, SearchQuery
from server.tape.formats import FORMATS
from server.web.context import PageContext
from server.web.visit import VisitDep

router = APIRouter()

ONE = ("q", "cursor")
SEVERAL = ("kind", "format", "check_status", "verification")


@dataclass(frozen=True, kw_only=True, slots=True)
class FoundPage(PageContext):
    """What was found for `query`."""

    template: ClassVar[str] = "pages/search.html"
    query: SearchQuery
    found: SearchPage
    formats: tuple[tuple[str, str], ...] = tuple(
        (name, each.title) for name, each in FORMATS.items()
    )


@router.get("/search")
def find(visit: VisitDep) -> Response:
    """Search the whole library."""
    params = visit.request.query_params
    one = {name: params[name] for name in ONE if params.get(name)}
    query = SearchQuery.of({**one, **{name: params.getlist(name) for name in SEVERAL}})
    with visit.work() as work:
        title = f"Search: {query.q}" if query.q.strip() else "Search"
        page = FoundPage(title=title, query=query, found=search.find(work, query))
        return visit.page(page, block="results")
