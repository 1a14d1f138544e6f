"""Labels to print: text and a code that leads to the page of the tape, one or a sheet of them."""

from dataclasses import dataclass
from typing import Annotated, ClassVar, Final

import segno
from fastapi import APIRouter, Query
from markupsafe import Markup
from starlette.responses import Response

from server.catalog import labels
from server.catalog.labels import Label
from server.web.context import PageContext
from server.web.visit import Visit, VisitDep

router = APIRouter()

SHEET: Final = "sheet"
"""Labels on a sheet of paper, to be cut; otherwise each is a page of its own size."""

_QUIET: Final = 4
"""Blank modules around a QR code (ISO/IEC 18004, from memory)."""

Numbers = Annotated[tuple[str, ...], Query()]
Copies = Annotated[int, Query(ge=1, le=12)]


@dataclass(frozen=True, slots=True)
class Printed:
    """A label, with the address of its tape (of the site, and the path), and that as a QR code."""

    label: Label
    site: str
    path: str
    code: Markup


@dataclass(frozen=True, kw_only=True, slots=True)
class LabelsPage(PageContext):
    """Labels ready to print, `copies` of each."""

    template: ClassVar[str] = "pages/labels.html"
    printed: tuple[Printed, ...]
    on_sheet: bool
    copies: int

    @classmethod
    def of(cls, visit: Visit, numbers: tuple[str, ...], layout: str, copies: int) -> "LabelsPage":
        """The labels of the tapes with these accession numbers."""
        with visit.work() as work:
            found = labels.of(work, numbers)
        one = found[0].accession_number
        return cls(
            title=f"Label of tape {one}" if len(found) == 1 else f"Labels of {len(found)} tapes",
            printed=tuple(_printed(visit, each) for each in found for _ in range(copies)),
            on_sheet=layout == SHEET,
            copies=copies,
        )


def _printed(visit: Visit, label: Label) -> Printed:
    path = f"/tapes/{label.accession_number}"
    address = f"{visit.public}{path}"
    return Printed(label, visit.public, path, qr_code(address, f"QR code: {address}"))


def qr_code(text: str, name: str) -> Markup:
    """`text` as a QR code, an SVG picture that goes by `name` for those who do not see it."""
    code = segno.make(text, error="m", micro=False)
    drawn = code.svg_inline(
        border=_QUIET, omitsize=True, svgclass="qr", lineclass=None, light="#fff", title=name
    )
    # The library escapes the title; the rest is numbers.
    return Markup(drawn.replace("<svg ", '<svg role="img" ', 1))  # noqa: S704


@router.get("/tapes/{number}/label")
def show_one(visit: VisitDep, number: str, layout: str = "", copies: Copies = 1) -> Response:
    """The label of one tape."""
    return visit.page(LabelsPage.of(visit, (number,), layout, copies))


@router.get("/labels")
def show(visit: VisitDep, tape: Numbers = (), layout: str = SHEET, copies: Copies = 1) -> Response:
    """The labels of several tapes."""
    return visit.page(LabelsPage.of(visit, tape, layout, copies))
