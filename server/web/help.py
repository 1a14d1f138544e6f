"""Help inside the site: words, formats, digests, problems, cautions, and the door for programs."""

from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.catalog import agreement, passes
from server.catalog.merging_values import MOST
from server.catalog.vocabulary import CAUTIONS, Hazard
from server.delivery.one_page import SIZES
from server.statuses import PROBLEMS, Problem
from server.tape.formats import FORMATS
from server.web.context import PageContext
from server.web.operations import Operation, operations
from server.web.visit import VisitDep

router = APIRouter(prefix="/help")


@dataclass(frozen=True, kw_only=True, slots=True)
class HelpPage(PageContext):
    """The way to each page of help."""

    template: ClassVar[str] = "pages/help/index.html"
    title: str = "Help"


@dataclass(frozen=True, kw_only=True, slots=True)
class WordsPage(PageContext):
    """What the words mean."""

    template: ClassVar[str] = "pages/help/words.html"
    title: str = "Words"


@dataclass(frozen=True, kw_only=True, slots=True)
class FormatsPage(PageContext):
    """What the archive can read, straight from the registry of formats."""

    template: ClassVar[str] = "pages/help/formats.html"
    title: str = "Formats"
    formats: tuple[Any, ...] = tuple(FORMATS.values())


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadSheetsPage(PageContext):
    """How a load sheet is used and written."""

    template: ClassVar[str] = "pages/help/load_sheets.html"
    title: str = "Load sheets"
    sizes: tuple[int, ...] = SIZES


@dataclass(frozen=True, kw_only=True, slots=True)
class MergingPage(PageContext):
    """How several readings become one image, and when they are said to agree."""

    template: ClassVar[str] = "pages/help/merging.html"
    title: str = "Merging readings"
    passes_rule: str = passes.RULE
    agree_rule: str = agreement.RULE
    most: int = MOST


@dataclass(frozen=True, kw_only=True, slots=True)
class PreparingPage(PageContext):
    """How a tape is prepared for the punch, format by format."""

    template: ClassVar[str] = "pages/help/preparing.html"
    title: str = "Preparing a tape"
    formats: tuple[Any, ...] = tuple(FORMATS.values())


@dataclass(frozen=True, kw_only=True, slots=True)
class RightsPage(PageContext):
    """Who sees what, what statements of rights say, and what becomes of a tape that leaves."""

    template: ClassVar[str] = "pages/help/rights.html"
    title: str = "Rights, access and what leaves"


@dataclass(frozen=True, kw_only=True, slots=True)
class DigestsPage(PageContext):
    """How to see that a file is the right one."""

    template: ClassVar[str] = "pages/help/digests.html"
    title: str = "Comparing digests"


@dataclass(frozen=True, kw_only=True, slots=True)
class ProblemsPage(PageContext):
    """Every way to be refused, by its code."""

    template: ClassVar[str] = "pages/help/problems.html"
    title: str = "When something is refused"
    problems: tuple[Problem, ...] = tuple(PROBLEMS.values())


@dataclass(frozen=True, kw_only=True, slots=True)
class CautionsPage(PageContext):
    """What to mind when handling tape."""

    template: ClassVar[str] = "pages/help/cautions.html"
    title: str = "Handling tape safely"
    cautions: tuple[tuple[Hazard, str], ...] = tuple(
        (hazard, text) for hazard, text in CAUTIONS.items() if text
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramsDoorPage(PageContext):
    """The JSON interface, straight from its own description."""

    template: ClassVar[str] = "pages/help/api.html"
    title: str = "For programs"
    operations: tuple[Operation, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class ConditionPage(PageContext):
    """How a condition report is made, and what each word in it means."""

    template: ClassVar[str] = "pages/help/condition.html"
    title: str = "Condition reports"


FIXED = {
    "": HelpPage(),
    "/words": WordsPage(),
    "/formats": FormatsPage(),
    "/load-sheets": LoadSheetsPage(),
    "/merging": MergingPage(),
    "/preparing": PreparingPage(),
    "/rights": RightsPage(),
    "/digests": DigestsPage(),
    "/problems": ProblemsPage(),
    "/cautions": CautionsPage(),
    "/condition": ConditionPage(),
}
"""The pages that are the same for everybody."""


def _fixed(page: PageContext) -> Any:
    def show(visit: VisitDep) -> Response:
        with visit.work():
            return visit.page(page)

    return show


for path, page in FIXED.items():
    router.add_api_route(path, _fixed(page), methods=["GET"])


@router.get("/api")
def programs_door(visit: VisitDep, request: Request) -> Response:
    """The JSON interface."""
    with visit.work():
        return visit.page(ProgramsDoorPage(operations=operations(request.app.state.describe_api())))
