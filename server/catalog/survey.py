"""The quick report: a tape in the hand, a few marks, and on to the next."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Final

from pydantic import BeforeValidator, Field

from server.catalog import condition, photos
from server.catalog.condition_values import Defect, Key, NewReport, ReportRecord
from server.catalog.defect_words import DefectKind
from server.catalog.held import tape_of
from server.catalog.inputs import Input, Text
from server.catalog.pixels import Rewritten
from server.catalog.tape_values import AccessionNumber, several
from server.catalog.vocabulary import (
    Condition,
    DefectSeverity,
    Handling,
    Hazard,
    Method,
    Reason,
)
from server.catalog.work import Role, Work

FREQUENT: Final = (
    DefectKind.TEAR,
    DefectKind.CREASE,
    DefectKind.EDGE_WEAR,
    DefectKind.ELONGATED_FEED_HOLES,
    DefectKind.HANGING_CHAD,
    DefectKind.SPLICE,
    DefectKind.ADHESIVE_RESIDUE,
    DefectKind.STAIN,
    DefectKind.BRITTLENESS,
    DefectKind.SKEW,
    DefectKind.OIL_LOSS,
    DefectKind.DUST,
)
"""What is offered as buttons; the whole list stands in the form of a report."""

STATES: Final = (Condition.GOOD, Condition.WORN, Condition.FRAGILE, Condition.UNFIT)


class Surveyed(Input):
    """What somebody saw at a glance.

    `defects` are kinds without a place; with `as_before`, those of the report before still stand.
    """

    tape: AccessionNumber
    checked_on: date
    state: Condition
    defects: Annotated[
        tuple[DefectKind, ...], BeforeValidator(several), Field(max_length=len(DefectKind))
    ] = ()
    as_before: bool = False
    mould: bool = False
    do_not_run: bool = False
    advice: Text = ""
    key: Key


def log(
    work: Work, seen: Surveyed, taken: Sequence[Rewritten] = (), shows: str = ""
) -> ReportRecord:
    """Log what was seen as a condition report, with photos; once, however often it is sent.

    Raises:
        NotFound: there is no such tape.
        Invalid, Conflict: as `condition.log` and `photos.add`.
    """
    work.actor.require(Role.VOLUNTEER)
    report = condition.log(
        work,
        NewReport(
            tape=seen.tape,
            checked_on=seen.checked_on,
            state=seen.state,
            reason=Reason.SCHEDULE,
            method=Method.BY_EYE,
            defects=_defects(work, seen),
            advice=seen.advice,
            hazard=Hazard.MOULD if seen.mould else Hazard.NONE,
            handling=Handling.DO_NOT_RUN if seen.do_not_run else Handling.AS_USUAL,
            key=seen.key,
        ),
    )
    photos.add(work, seen.tape, taken, shows, report.id)
    return report


def _defects(work: Work, seen: Surveyed) -> tuple[Defect, ...]:
    """Those of the report before, where they still stand, and what is new beside them."""
    before: tuple[Defect, ...] = ()
    newest = condition.newest(work, tape_of(work, seen.tape))
    if seen.as_before and newest is not None:
        before = tuple(Defect.model_validate(each) for each in newest.defects)
    held = {each.kind for each in before}
    new = tuple(
        Defect(kind=kind, severity=DefectSeverity.MODERATE)
        for kind in dict.fromkeys(seen.defects)
        if kind not in held
    )
    mould: tuple[Defect, ...] = ()
    if seen.mould and DefectKind.MOULD not in held | set(seen.defects):
        mould = (Defect(kind=DefectKind.MOULD, severity=DefectSeverity.SEVERE),)
    return (*before, *new, *mould)
