"""Merged readings that are kept: their evidence, and the forms that settle a frame by eye."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, ClassVar, Final

from fastapi import APIRouter, Query
from starlette.responses import Response

from server.catalog import agreement, images, merged, merging, pictures, settling
from server.catalog.errors import Conflict, Invalid
from server.catalog.merging_values import (
    Judgement,
    MergedRecord,
    Ruling,
    Settling,
    SourceRecord,
)
from server.catalog.pictures import Pictured
from server.catalog.records import ImageRecord
from server.catalog.tape_values import Page
from server.catalog.work import Role, Work
from server.statuses import problem_of
from server.tape.findings import Finding, Severity
from server.tape.holes import channels
from server.tape.merging import SettledBy
from server.web.context import Filled, PageContext
from server.web.forms import Form, FormDep
from server.web.listed import ListedLine
from server.web.merge_shown import DisputeShown, Doubt, disputes_shown, doubt, of_percent
from server.web.merging import DISPUTES_A_PAGE
from server.web.strips import Shown, Strips, shown_strip, strips_of
from server.web.tapes import image_excerpt
from server.web.visit import VisitDep

router = APIRouter(prefix="/merged-readings")

AROUND: Final = 10
"""Frames on either side of a disputed one that its strips show."""

_MOST_MARKED: Final = 400
"""Open frames that are marked along the tape."""

PageNumber = Annotated[int, Query(ge=1, le=1_000_000)]


@dataclass(frozen=True, kw_only=True, slots=True)
class MergedReadingPage(PageContext):
    """A merged reading, with a page of its disputes."""

    template: ClassVar[str] = "pages/merged_reading.html"
    merged: MergedRecord
    image: ImageRecord
    lines: tuple[ListedLine, ...]
    strips: Strips
    sources: tuple[SourceRecord, ...]
    counts: Mapping[SettledBy, int]
    judgement: Judgement
    doubt: Doubt
    frames: int
    open_frames: tuple[int, ...]
    first_open: int | None
    disputes: Page[DisputeShown]
    settled_by: SettledBy | None
    agree_rule: str = agreement.RULE

    @classmethod
    def of(
        cls, work: Work, merged_id: int, settled_by: SettledBy | None, page: int
    ) -> "MergedReadingPage":
        """The page of the merged reading of this id."""
        record = merged.get(work, merged_id)
        image = images.get(work, record.row.sha256)
        found = merged.disputes(
            work, merged_id, settled_by=settled_by, page=page, page_size=DISPUTES_A_PAGE
        )
        left = merged.disputes(
            work, merged_id, settled_by=SettledBy.OPEN, page_size=_MOST_MARKED
        ).rows
        readings = [each.reading for each in record.sources]
        return cls(
            title=f"Merged reading {merged_id}, of {image.title}",
            merged=record,
            image=image,
            lines=image_excerpt(work, image),
            strips=strips_of(work, image),
            sources=record.sources,
            counts=record.row.counts,
            judgement=record.judgement,
            doubt=doubt(of_percent(record.confidence)),
            frames=image.bytes,
            open_frames=tuple(each.dispute.frame or 0 for each in left),
            first_open=left[0].dispute.column if left else None,
            disputes=Page(
                disputes_shown(found.rows, readings, record.levels, image.code),
                found.total,
                page,
                DISPUTES_A_PAGE,
            ),
            settled_by=settled_by,
        )


@dataclass(frozen=True, slots=True)
class StripOfReading:
    """A reading around a disputed frame, turned as it was punched; None if it ends before."""

    source: SourceRecord
    picture: Shown | None
    frame: int | None


@dataclass(frozen=True, kw_only=True, slots=True)
class SettlePage(PageContext):
    """A disputed frame with the strips of all readings, and the form that settles it."""

    template: ClassVar[str] = "pages/merge_settle.html"
    merged: MergedRecord
    image: ImageRecord
    dispute: DisputeShown
    strips: tuple[StripOfReading, ...]
    form: Filled
    agree_rule: str = agreement.RULE

    @classmethod
    def of(
        cls, work: Work, merged_id: int, column: int, form: Filled | None = None
    ) -> "SettlePage":
        """The page of the dispute at this column."""
        work.actor.require(Role.ARCHIVIST)
        record = merged.get(work, merged_id)
        image = images.get(work, record.row.sha256)
        found = merged.dispute(work, merged_id, column)
        readings = [each.reading for each in record.sources]
        (dispute,) = disputes_shown([found], readings, record.levels, image.code)
        places = zip(record.sources, found.dispute.votes, found.dispute.sources, strict=True)
        return cls(
            title=f"Settle {_place(dispute)}",
            merged=record,
            image=image,
            dispute=dispute,
            strips=tuple(
                _strip(work, source, frame, is_there=vote is not None)
                for source, vote, frame in places
            ),
            form=form or Filled({"hole": _holes(dispute)}),
        )


def _place(dispute: DisputeShown) -> str:
    return "a place without a frame" if dispute.frame is None else f"frame {dispute.frame:,}"


def _holes(dispute: DisputeShown) -> tuple[str, ...]:
    return tuple(map(str, channels(dispute.chosen.value or 0)))


def _strip(
    work: Work, source: SourceRecord, frame: int | None, *, is_there: bool
) -> StripOfReading:
    if frame is None:
        return StripOfReading(source, None, None)
    pictured = pictures.of(work, images.get(work, source.reading.sha256))
    mark = Finding(
        kind="disputed" if is_there else "missing beside this",
        severity=Severity.WARNING,
        frame=frame,
        frames=1,
        message="The readings differ here.",
        advice="",
    )
    turned = Pictured(pictured.image, source.source.orientation, (mark,))
    strip = turned.strip(frame - AROUND, 2 * AROUND + 1, as_punched=True)
    return StripOfReading(source, shown_strip(strip), frame)


def ruling_of(column: int, form: Form) -> Settling:
    """What the form rules: `choice` is a voted frame, other holes, no frame, or as voted.

    Raises:
        Invalid: nothing was chosen, or no note given.
    """
    choice, _, frame = form.text("choice").partition(" ")
    value: int | str = frame
    if choice == "holes":
        value = sum(1 << int(each) - 1 for each in set(form.texts("hole")) & set("12345678"))
    ruling = Ruling.FRAME if choice == "holes" else choice
    return Settling.of(
        {"column": column, "ruling": ruling, "value": value, "note": form.text("note")}
    )


@router.get("/{merged_id}")
def show(
    visit: VisitDep, merged_id: int, settled_by: SettledBy | None = None, page: PageNumber = 1
) -> Response:
    """A merged reading."""
    with visit.work() as work:
        return visit.page(MergedReadingPage.of(work, merged_id, settled_by, page))


@router.get("/{merged_id}/disputes/{column}")
def settle_form(visit: VisitDep, merged_id: int, column: int) -> Response:
    """The form that settles a disputed frame by eye."""
    with visit.work() as work:
        return visit.page(SettlePage.of(work, merged_id, column))


@router.post("/{merged_id}/disputes/{column}")
def settle(visit: VisitDep, merged_id: int, column: int, form: FormDep) -> Response:
    """Settle a disputed frame by eye: a new merged reading follows this one."""
    with visit.change(form) as work:
        work.actor.require(Role.ARCHIVIST)
    limit = visit.settings.upload_limit_bytes
    try:
        ruling = ruling_of(column, form)
        kept = merging.carry_out(
            visit.work,
            lambda: visit.work(writes=True),
            lambda work: settling.settling(work, merged_id, ruling, limit),
            formats=visit.formats,
        )
    except (Invalid, Conflict) as refusal:
        filled = Filled(form.kept(), refusal.fields, refusal)
        with visit.work() as work:
            page = SettlePage.of(work, merged_id, column, filled)
            return visit.page(page, status=problem_of(refusal).status)
    return visit.redirect(f"/merged-readings/{kept.row.id}")
