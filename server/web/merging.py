"""Merging readings: choosing them, seeing what they come to, and keeping it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar, Final

from fastapi import APIRouter, Query
from starlette.responses import Response

from server.catalog import agreement, merge_choice, merging, passes
from server.catalog.errors import Conflict, Invalid
from server.catalog.merging_values import (
    MOST,
    Candidate,
    Judgement,
    NewMerge,
    SourceRecord,
    WorkedOut,
)
from server.catalog.tape_values import Page
from server.catalog.work import Role, Work
from server.statuses import problem_of
from server.tape.findings import Finding
from server.tape.identify import Decoded
from server.tape.merging import SettledBy
from server.web.context import Filled, PageContext
from server.web.forms import FormDep
from server.web.listed import ListedLine, excerpt
from server.web.merge_shown import (
    DisputeShown,
    Doubt,
    doubt,
    of_worked_out,
)
from server.web.tapes import EXCERPT_LINES
from server.web.visit import Visit, VisitDep

router = APIRouter()

DISPUTES_A_PAGE: Final = 50

_DIGEST: Final = 64

Names = Annotated[tuple[str, ...], Query()]
PageNumber = Annotated[int, Query(ge=1, le=1_000_000)]


@dataclass(frozen=True, kw_only=True, slots=True)
class MergePage(PageContext):
    """The readings that may be merged: those of a tape, and those of images that were added."""

    template: ClassVar[str] = "pages/merge.html"
    title: str = "Merge readings"
    tapes: tuple[str, ...]
    images: tuple[str, ...]
    candidates: tuple[Candidate, ...]
    form: Filled
    most: int = MOST
    passes_rule: str = passes.RULE
    agree_rule: str = agreement.RULE

    @classmethod
    def of(
        cls, work: Work, tapes: Sequence[str], images: Sequence[str], form: Filled | None = None
    ) -> "MergePage":
        """The page for the readings of these tapes and images."""
        work.actor.require(Role.VOLUNTEER)
        found = merge_choice.candidates(work, tapes, images)
        proposed = [str(each.id) for each in found if each.same_as is None][:MOST]
        return cls(
            tapes=tuple(tapes),
            images=tuple(images),
            candidates=found,
            form=form or Filled({"reading": proposed}),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class MergeResultPage(PageContext):
    """What chosen readings come to, before it is kept."""

    template: ClassVar[str] = "pages/merge_result.html"
    title: str = "What the readings come to"
    tape: str | None
    sha256: str
    decoded: Decoded
    findings: tuple[Finding, ...]
    lines: tuple[ListedLine, ...]
    sources: tuple[SourceRecord, ...]
    counts: dict[SettledBy, int]
    judgement: Judgement
    doubt: Doubt
    frames: int
    open_frames: tuple[int, ...]
    disputes: Page[DisputeShown]
    agree_rule: str = agreement.RULE

    @classmethod
    def of(cls, worked_out: WorkedOut, page: int) -> "MergeResultPage":
        """The page of what was worked out, with a page of its disputes."""
        decoded, made = worked_out.examined.decoded, worked_out.merged
        start = (page - 1) * DISPUTES_A_PAGE
        shown = of_worked_out(worked_out, start, start + DISPUTES_A_PAGE)
        findings = tuple(decoded.decoding.findings)
        return cls(
            tape=worked_out.chosen.tape,
            sha256=worked_out.sha256,
            decoded=decoded,
            findings=findings,
            lines=excerpt(decoded.decoding.listing.lines[:EXCERPT_LINES], findings),
            sources=worked_out.sources,
            counts=worked_out.counts,
            judgement=worked_out.judgement,
            doubt=doubt(made.confidence),
            frames=len(made.image),
            open_frames=tuple(each.frame or 0 for each in made.open_disputes),
            disputes=Page(shown, len(made.disputes), page, DISPUTES_A_PAGE),
        )


@router.get("/merge")
def choose(visit: VisitDep, tape: Names = (), image: Names = (), add: str = "") -> Response:
    """The readings that may be merged, of the tapes and images in the address."""
    named = add.strip()
    if named and len(named) == _DIGEST:
        image = (*image, named)
    elif named:
        tape = (*tape, named)
    with visit.work() as work:
        return visit.page(MergePage.of(work, tape, image))


@router.get("/merge/result")
def result(
    visit: VisitDep, reading: Annotated[tuple[int, ...], Query()] = (), page: PageNumber = 1
) -> Response:
    """What these readings come to; nothing is kept."""
    try:
        new = NewMerge.of({"readings": reading})
        with visit.work() as work:
            chosen = merge_choice.choose(work, new, visit.settings.upload_limit_bytes)
        worked_out = merging.work_out(chosen, visit.formats)
        with visit.work():
            return visit.page(MergeResultPage.of(worked_out, page))
    except Invalid as refusal:
        return _again(visit, reading, refusal)


@router.post("/merged-readings")
def keep(visit: VisitDep, form: FormDep) -> Response:
    """Keep what the chosen readings come to, as it was shown."""
    with visit.change(form) as work:
        work.actor.require(Role.VOLUNTEER)
    numbers = form.texts("reading")
    try:
        new = NewMerge.of({"readings": numbers, "sha256": form.text("sha256")})
        limit = visit.settings.upload_limit_bytes
        kept = merging.carry_out(
            visit.work,
            lambda: visit.work(writes=True),
            lambda work: merge_choice.choose(work, new, limit),
            formats=visit.formats,
            expected=new.sha256,
        )
    except (Invalid, Conflict) as refusal:
        return _again(visit, numbers, refusal)
    return visit.redirect(f"/merged-readings/{kept.row.id}")


def _again(visit: Visit, numbers: Sequence[int | str], refusal: Invalid | Conflict) -> Response:
    """The choice once more, with what was wrong with it."""
    chosen = [str(each) for each in numbers]
    filled = Filled({"reading": chosen}, refusal.fields, refusal)
    with visit.work() as work:
        tapes, loose = merge_choice.where_from(
            work, [int(each) for each in chosen if each.isdecimal()]
        )
        page = MergePage.of(work, tapes, loose, filled)
        return visit.page(page, status=problem_of(refusal).status)
