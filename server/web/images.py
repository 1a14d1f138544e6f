"""Images: what their bytes say, and their listing."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import images, merged
from server.catalog.dialects import dialect_of
from server.catalog.merging_values import MergedRow
from server.catalog.own_list import Part
from server.catalog.queues import About
from server.catalog.records import ImageRecord, KinRecord
from server.catalog.tape_values import Page
from server.catalog.work import Work
from server.tape.formats import Formats
from server.web.basic_listing import BasicReferences, basic_references
from server.web.context import PageContext
from server.web.estimates import Estimates, estimates
from server.web.listed import (
    ListedLine,
    ListingPage,
    last_page,
    lines_of_page,
    listing_page,
    matches,
)
from server.web.strips import Strips, strips_of
from server.web.tapes import image_excerpt, to_do
from server.web.visit import VisitDep

router = APIRouter()


@dataclass(frozen=True, kw_only=True, slots=True)
class ImagePage(PageContext):
    """One image, whether or not a tape carries it."""

    template: ClassVar[str] = "pages/image.html"
    image: ImageRecord
    lines: tuple[ListedLine, ...]
    kin: tuple[KinRecord, ...]
    figures: Estimates
    strips: Strips
    merged: Page[MergedRow]
    to_do: tuple[Part, ...]

    @classmethod
    def of(cls, work: Work, sha256: str, rate: str, report_years: int) -> "ImagePage":
        """The page of the image with this digest."""
        image = images.get(work, sha256)
        return cls(
            title=f"{image.title}, image {sha256[:12]}",
            image=image,
            lines=image_excerpt(work, image),
            kin=images.kin(work, sha256),
            figures=estimates(image.bytes, rate),
            strips=strips_of(work, image),
            merged=merged.page(work, image=sha256),
            to_do=to_do(work, About.IMAGE, image.sha256, report_years),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class WholeListingPage(PageContext):
    """A listing, a page of it at a time; `run` is what is marked in it."""

    template: ClassVar[str] = "pages/listing.html"
    image: ImageRecord
    listing: ListingPage
    run: str
    basic: BasicReferences | None

    @classmethod
    def of(
        cls, work: Work, sha256: str, page: int, run: str, formats: Formats
    ) -> "WholeListingPage":
        """The page of the listing of the image with this digest."""
        image = images.get(work, sha256)
        page = min(max(1, page), last_page(image.lines))
        part = images.listing(work, sha256, *lines_of_page(page)).lines
        whole = images.listing(work, sha256).lines if run or image.language == "basic" else ()
        found = matches(whole, run) if run else ()
        basic = None
        if image.language == "basic":
            basic = basic_references(whole, dialect_of(formats, image.dialect), page, run)
        return cls(
            title=f"Listing of {image.title}",
            image=image,
            listing=listing_page(
                part,
                image.findings,
                page=page,
                total=image.lines,
                run=run,
                matches=found,
                links=basic.links if basic else None,
            ),
            run=run,
            basic=basic,
        )


@router.get("/images/{sha256}")
def show(visit: VisitDep, sha256: str, rate: str = "") -> Response:
    """One image."""
    with visit.work() as work:
        return visit.page(
            ImagePage.of(work, sha256, rate, visit.settings.report_years), block="estimates"
        )


@router.get("/images/{sha256}/listing")
def listing(visit: VisitDep, sha256: str, page: int = 1, q: str = "") -> Response:
    """The listing of an image."""
    with visit.work() as work:
        return visit.page(WholeListingPage.of(work, sha256, page, q, visit.formats))
