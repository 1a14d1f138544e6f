"""Strips of tape: their frames as pictures, on the page of an image and one after another."""

from dataclasses import dataclass
from typing import ClassVar, Final

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from server.catalog import images, pictures
from server.catalog.pictures import Pictured, Strip
from server.catalog.records import ImageRecord
from server.catalog.work import Work
from server.tape.findings import Finding
from server.tape.image import Orientation
from server.tape.paper_defects import PaperDefect, beside
from server.web.context import PageContext
from server.web.visit import VisitDep

router = APIRouter()

FRAMES_A_ROW: Final = 60
ROWS_A_PAGE: Final = 5

BESIDE, BEFORE = 14, 6
"""Frames of the small strip beside a finding, and how many of them stand before it."""

MOST_BESIDE: Final = 20
"""Findings of one page that have a strip beside them; the others have a link to it."""

MOST_LETTERS: Final = 160
"""Frames of lettering that are shown on the page of the image."""

SVG: Final = "image/svg+xml"


@dataclass(frozen=True, slots=True)
class Shown:
    """A strip on a page, and the first and last frame that it shows."""

    picture: Markup
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Strips:
    """The strips on the page of an image: where data begins, letters, and beside findings.

    `beside` holds one for each of the first findings, None for letters, which are shown whole;
    each begins `before` frames before its finding. `defects` are those that reports have on the
    tapes of the image, `logged` for each finding those in its place.
    """

    data: Shown
    letters: tuple[Shown, ...]
    beside: tuple[Shown | None, ...]
    defects: tuple[PaperDefect, ...]
    logged: tuple[tuple[PaperDefect, ...], ...]
    before: int = BEFORE


def strips_of(work: Work, image: ImageRecord) -> Strips:
    """The strips for the page of `image`."""
    pictured = pictures.of(work, image)
    start = image.data.start - BEFORE if image.data.frames else 0
    return Strips(
        data=shown_strip(pictured.strip(start, FRAMES_A_ROW)),
        letters=tuple(_letters(pictured, each) for each in image.findings if _is_text(each)),
        beside=tuple(
            None if _is_text(each) else shown_strip(pictured.strip(each.frame - BEFORE, BESIDE))
            for each in image.findings[:MOST_BESIDE]
        ),
        defects=pictured.defects,
        logged=beside(image.findings, pictured.defects),
    )


def _is_text(finding: Finding) -> bool:
    return finding.kind == "lettering"


def _letters(pictured: Pictured, finding: Finding) -> Shown:
    frames = min(finding.frames + 2 * BEFORE, MOST_LETTERS)
    return shown_strip(pictured.strip(finding.frame - BEFORE, frames, as_punched=True))


def shown_strip(strip: Strip) -> Shown:
    """A strip as a page shows it."""
    # The picture escapes whatever it quotes of the tape.
    return Shown(Markup(strip.svg), strip.span.start, strip.span.stop - 1)  # noqa: S704


@dataclass(frozen=True, kw_only=True, slots=True)
class StripsPage(PageContext):
    """The tape as pictures, some rows of it at a time; turned as punched if so wanted."""

    template: ClassVar[str] = "pages/strips.html"
    image: ImageRecord
    rows: tuple[Shown, ...]
    start: int
    frames: int
    as_punched: bool

    @classmethod
    def of(cls, work: Work, sha256: str, start: int, *, as_punched: bool) -> "StripsPage":
        """The page of strips of the image with this digest, from frame `start` on."""
        image = images.get(work, sha256)
        pictured = pictures.of(work, image)
        first = min(max(start, 0), image.bytes - 1)
        stop = min(first + FRAMES_A_ROW * ROWS_A_PAGE, image.bytes)
        rows = [
            shown_strip(pictured.strip(at, FRAMES_A_ROW, as_punched=as_punched))
            for at in range(first, stop, FRAMES_A_ROW)
        ]
        if as_punched and Orientation(image.orientation).runs_backwards:
            rows.reverse()
        return cls(
            title=f"Strips of {image.title}",
            image=image,
            rows=tuple(rows),
            start=first,
            frames=FRAMES_A_ROW * ROWS_A_PAGE,
            as_punched=as_punched,
        )


@router.get("/images/{sha256}/strip")
def show(visit: VisitDep, sha256: str, start: int = 0, turned: str = "") -> Response:
    """The frames of an image as strips of tape."""
    with visit.work() as work:
        return visit.page(StripsPage.of(work, sha256, start, as_punched=turned == "punched"))


@router.get("/images/{sha256}/strip.svg")
def picture(
    visit: VisitDep, sha256: str, start: int = 0, frames: int = FRAMES_A_ROW, turned: str = ""
) -> Response:
    """One strip as a picture, clipped to what there is and to its greatest length."""
    with visit.work() as work:
        pictured = pictures.of(work, images.get(work, sha256))
        strip = pictured.strip(start, frames, as_punched=turned == "punched")
    return Response(strip.svg, media_type=SVG, headers={"Cache-Control": "private, no-cache"})
