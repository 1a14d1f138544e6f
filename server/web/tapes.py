"""Tapes: the list with its facets, and one tape with all that is known about it."""

from dataclasses import dataclass
from http import HTTPStatus
from typing import ClassVar

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import (
    condition,
    events,
    images,
    merged,
    movements,
    own_list,
    photos,
    punching,
    running,
    tapes,
)
from server.catalog.condition_values import ReportRecord
from server.catalog.events import EventRecord, ObjectKind
from server.catalog.merging_values import MergedRow
from server.catalog.own_list import Part
from server.catalog.photos import PhotoRecord
from server.catalog.place_values import Whereabouts
from server.catalog.punching_values import PunchingRow
from server.catalog.queues import About
from server.catalog.records import ImageRecord, KinRecord
from server.catalog.running import Running
from server.catalog.tape_values import Page, TapeQuery, TapeRecord, TapeRow
from server.catalog.work import Role, Work
from server.web.context import PageContext
from server.web.departures import departed_page
from server.web.estimates import Estimates, estimates
from server.web.listed import ListedLine, excerpt
from server.web.strips import Strips, strips_of
from server.web.visit import Visit, VisitDep

router = APIRouter()

EXCERPT_LINES = 24
REPORTS_SHOWN = 3

SEVERAL = ("format", "medium", "condition", "check_status", "verification", "place", "program")


@dataclass(frozen=True, kw_only=True, slots=True)
class TapesPage(PageContext):
    """A page of the list; `query` says what was asked for."""

    template: ClassVar[str] = "pages/tapes.html"
    title: str = "Tapes"
    query: TapeQuery
    found: Page[TapeRow]


@dataclass(frozen=True, kw_only=True, slots=True)
class TapePage(PageContext):
    """One tape; what depends on an image is empty where it has none yet."""

    template: ClassVar[str] = "pages/tape.html"
    tape: TapeRecord
    image: ImageRecord | None
    lines: tuple[ListedLine, ...]
    kin: tuple[KinRecord, ...]
    figures: Estimates | None
    strips: Strips | None
    merged: Page[MergedRow]
    reports: Page[ReportRecord]
    photos: tuple[PhotoRecord, ...]
    history: tuple[EventRecord, ...]
    running: Running
    punched_from: PunchingRow | None
    to_do: tuple[Part, ...]
    whereabouts: Whereabouts

    @classmethod
    def of(cls, work: Work, number: str, rate: str, report_years: int) -> "TapePage":
        """The page of the tape with this accession number."""
        tape = tapes.get(work, number)
        image = tape.image
        return cls(
            title=f"{tape.title}, tape {tape.accession_number}",
            tape=tape,
            image=image,
            lines=image_excerpt(work, image) if image else (),
            kin=images.kin(work, image.sha256) if image else (),
            figures=estimates(image.bytes, rate) if image else None,
            strips=strips_of(work, image) if image else None,
            merged=merged.page(work, tape=number),
            reports=condition.page(work, tape=number, page_size=REPORTS_SHOWN),
            photos=photos.of_tape(work, number),
            history=events.of(work, ObjectKind.TAPE, number),
            running=running.of(work, number),
            punched_from=punching.of_tape(work, number),
            to_do=to_do(work, About.TAPE, number, report_years),
            whereabouts=movements.of(work, number),
        )


def to_do(work: Work, about: About, key: str, report_years: int) -> tuple[Part, ...]:
    """The queues that hold a tape or an image, for those who work here; nothing for others."""
    if not work.actor.role.includes(Role.VOLUNTEER):
        return ()
    return own_list.queues_with(work, about, key, report_years)


def image_excerpt(work: Work, image: ImageRecord) -> tuple[ListedLine, ...]:
    """The first lines of the listing of an image."""
    lines = images.listing(work, image.sha256, 0, EXCERPT_LINES).lines
    return excerpt(lines, image.findings)


def asked_for(visit: Visit) -> TapeQuery:
    """The query that the address of the page holds; unknown names in it mean nothing here.

    Raises:
        Invalid: a value in it does not fit.
    """
    params = visit.request.query_params
    one = {name: params[name] for name in ("q", "sort", "departed", "page") if params.get(name)}
    many = {name: params.getlist(name) for name in SEVERAL}
    return TapeQuery.of({**one, **many, "page_size": visit.settings.page_size})


@router.get("/tapes")
def browse(visit: VisitDep) -> Response:
    """The list of tapes."""
    query = asked_for(visit)
    with visit.work() as work:
        return visit.page(TapesPage(query=query, found=tapes.page(work, query)), block="results")


@router.get("/tapes/{number}")
def show(visit: VisitDep, number: str, rate: str = "") -> Response:
    """One tape, or what is left of one that left the collection."""
    with visit.work() as work:
        if tapes.has_left(work, number):
            return visit.page(departed_page(work, number), status=HTTPStatus.GONE)
        return visit.page(
            TapePage.of(work, number, rate, visit.settings.report_years), block="estimates"
        )
