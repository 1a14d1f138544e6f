"""The state of the library: shares of it as bars, a year's work as plots, each beside a table."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Annotated, ClassVar, Final

from fastapi import APIRouter, Query
from starlette.responses import Response

from server.catalog import state
from server.catalog.state import Series, State
from server.web.context import PageContext
from server.web.visit import VisitDep

router = APIRouter()

MONTH_NAMES: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip

WIDTH, HEIGHT = 360, 110
"""Of a plot, in units of its drawing; bars stand on `BASE`."""
BASE, TALLEST, STEP, BAR = 92, 70, 30, 20

LISTS: Final = MappingProxyType(
    {
        "read": "/queues/unread",
        "verified": "/tapes?verification=unverified",
        "described": "/queues/unidentified",
        "looked-at": "/queues/no-report",
    }
)
"""Where the rest of a share is listed."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One month of a plot: its bar, the middle of it, and the first letter of its name."""

    x: int
    y: float
    height: float
    middle: int
    letter: str
    count: int


@dataclass(frozen=True, kw_only=True, slots=True)
class StatePage(PageContext):
    """The state of the library, and the work of one year."""

    template: ClassVar[str] = "pages/state.html"
    title: str = "State of the library"
    state: State
    plots: tuple[tuple[Series, tuple[Bar, ...]], ...]
    months: tuple[str, ...] = MONTH_NAMES
    lists: Mapping[str, str] = field(default_factory=lambda: LISTS)


def bars(series: Series) -> tuple[Bar, ...]:
    """The bars of a year: the tallest is that of the busiest month, and nothing is no bar."""
    most = max(series.months) or 1
    made = []
    for at, count in enumerate(series.months):
        height = round(TALLEST * count / most, 1)
        x = at * STEP + (STEP - BAR) // 2
        made.append(Bar(x, BASE - height, height, x + BAR // 2, MONTH_NAMES[at][0], count))
    return tuple(made)


@router.get("/state")
def show(visit: VisitDep, year: Annotated[int | None, Query(ge=1, le=9999)] = None) -> Response:
    """The state of the library, and a year's work."""
    with visit.work() as work:
        told = state.of(work, year)
    return visit.page(StatePage(state=told, plots=tuple((each, bars(each)) for each in told.work)))
