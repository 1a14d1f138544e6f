"""Punchings: the list, and one with all of its steps; the frames on their way to the punch."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from starlette.responses import Response

from server.catalog import events, handling, images, punching, punching_pictures, read_back_words
from server.catalog.events import EventRecord, ObjectKind
from server.catalog.punching_values import (
    PunchingQuery,
    PunchingRecord,
    PunchingRow,
    ReadBackRecord,
    Status,
)
from server.catalog.read_backs import IDENTICAL
from server.catalog.records import TapeLink
from server.catalog.tape_values import Page
from server.catalog.vocabulary import Medium
from server.catalog.work import Work
from server.delivery.frames import ASK_AGAIN, Frames, deliver
from server.tape.holes import channels
from server.tape.read_back import Place
from server.web.context import Filled, PageContext
from server.web.estimates import Estimates, estimates
from server.web.strips import Shown, shown_strip
from server.web.visit import VisitDep

router = APIRouter()

BESIDE, BEFORE = 14, 6
"""Frames of the strips beside a place that differs, and how many of them stand before it."""

MOST_BESIDE: Final = 10
"""Places with strips beside them; of the others, frames and holes are told."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PunchingsPage(PageContext):
    """A page of the list; `query` says what was asked for."""

    template: ClassVar[str] = "pages/punchings.html"
    title: str = "Punchings"
    query: PunchingQuery
    found: Page[PunchingRow]
    statuses: tuple[Status, ...] = tuple(Status)


@dataclass(frozen=True, slots=True)
class Differing:
    """A place that differs: in words, its holes, and strips of what was prepared and read."""

    place: Place
    words: str
    prepared: str
    read: str
    strips: tuple[Shown, Shown] | None


@dataclass(frozen=True, kw_only=True, slots=True)
class PunchingPage(PageContext):
    """One punching, as far as it has come; `form` is that of its next step.

    `differing` is what the newest reading has otherwise; `sources` the tapes that carry the
    image, each with what to heed before it is run.
    """

    template: ClassVar[str] = "pages/punching.html"
    punching: PunchingRecord
    form: Filled
    sentences: tuple[str, ...]
    note: str
    differing: tuple[Differing, ...]
    strip: Shown
    figures: Estimates
    sources: tuple[tuple[TapeLink, tuple[str, ...]], ...]
    warnings: tuple[str, ...]
    history: tuple[EventRecord, ...]
    limit: int

    @classmethod
    def of(
        cls, work: Work, punching_id: int, limit: int, form: Filled | None = None
    ) -> "PunchingPage":
        """The page of the punching with this number."""
        found = punching.get(work, punching_id)
        last = found.last_read_back
        prepared, _ = punching_pictures.of(work, punching_id)
        first = max(found.data.start - BEFORE, 0)
        tapes = images.get(work, found.image).tapes
        return cls(
            title=_title(found),
            punching=found,
            form=form or Filled(_proposed(work, found)),
            sentences=read_back_words.sentences(last.comparison) if last else (),
            note=IDENTICAL if last and last.sha256 == found.sha256 else "",
            differing=_differing(work, found, last),
            strip=shown_strip(prepared.strip(first, 60)),
            figures=estimates(found.frames, f"{found.rate:g}" if found.rate else ""),
            sources=tuple(
                (each, handling.warnings_of(work, each.accession_number)) for each in tapes
            ),
            warnings=handling.warnings_of(work, found.tape) if found.tape else (),
            history=events.of(work, ObjectKind.PUNCHING, punching_id),
            limit=limit,
        )


def _title(found: PunchingRecord) -> str:
    reel = f", reel {found.reel} of {found.reels}" if found.reels > 1 else ""
    return f"Punching {found.id}: {found.title}{reel}"


def _proposed(work: Work, found: PunchingRecord) -> dict[str, str]:
    """What the form of the next step holds at first."""
    today = work.now.date().isoformat()
    if found.status is Status.PREPARED:
        return {"punched_on": today, "medium": Medium.PAPER, "rate": "70"}
    return {"read_on": today}


def _differing(
    work: Work, found: PunchingRecord, last: ReadBackRecord | None
) -> tuple[Differing, ...]:
    if last is None or last.image is not None:
        return ()
    prepared, read = punching_pictures.of(work, found.id)
    assert read is not None
    return tuple(
        Differing(
            place=place,
            words=read_back_words.place_in_words(place),
            prepared=_holes(place.prepared),
            read=_holes(place.read),
            strips=(
                shown_strip(prepared.strip(place.frame - BEFORE, BESIDE)),
                shown_strip(read.strip(place.read_frame - BEFORE, BESIDE, as_punched=True)),
            )
            if number < MOST_BESIDE
            else None,
        )
        for number, place in enumerate(last.comparison.places)
    )


def _holes(frames: bytes) -> str:
    """The holes of the first frames of a place, channel by channel, as one reads them off."""
    told = ("+".join(map(str, channels(frame))) or "none" for frame in frames[:4])
    return ", ".join(told) + (" …" if len(frames) > 4 else "")


@router.get("/punchings")
def browse(visit: VisitDep) -> Response:
    """The list of punchings."""
    params = visit.request.query_params
    names = ("tape", "image", "program", "status", "page")
    asked = {name: params[name] for name in names if params.get(name)}
    query = PunchingQuery.of({**asked, "page_size": visit.settings.page_size})
    with visit.work() as work:
        page = PunchingsPage(query=query, found=punching.page(work, query))
        return visit.page(page, block="results")


@router.get("/punchings/{punching_id}")
def show(visit: VisitDep, punching_id: int) -> Response:
    """One punching."""
    with visit.work() as work:
        return visit.page(PunchingPage.of(work, punching_id, visit.settings.upload_limit_bytes))


@router.get("/punchings/{punching_id}/frames")
def frames(visit: VisitDep, punching_id: int) -> Response:
    """The prepared frames, for the punch."""
    with visit.work() as work:
        found = punching.frames(work, punching_id)
    return deliver(Frames.of(found), visit.request.headers, cache=ASK_AGAIN)
