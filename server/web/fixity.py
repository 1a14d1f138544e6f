"""Fixity: which images fail, and what the last audits found."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import fixity
from server.catalog.fixity import WHAT_TO_DO, Audit, FailingImage
from server.catalog.work import Work
from server.web.context import PageContext
from server.web.visit import VisitDep

router = APIRouter()

SHOWN = 20
"""Audits on the page."""


@dataclass(frozen=True, kw_only=True, slots=True)
class FixityPage(PageContext):
    """The images that fail, and the last audits; one begins by itself after so many `days`."""

    template: ClassVar[str] = "pages/fixity.html"
    title: str = "Fixity audits"
    audits: tuple[Audit, ...]
    failing: tuple[FailingImage, ...]
    days: float
    what_to_do: str = WHAT_TO_DO

    @classmethod
    def of(cls, work: Work, days: float) -> "FixityPage":
        """The page as things stand."""
        return cls(
            audits=fixity.audits(work, SHOWN), failing=fixity.failing_images(work), days=days
        )


@router.get("/fixity")
def show(visit: VisitDep) -> Response:
    """Which images fail, and what the last audits found."""
    with visit.work() as work:
        return visit.page(FixityPage.of(work, visit.settings.audit_days))
