"""What is given and said in a condition report."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from pydantic import Field

from server.catalog.inputs import Input, Name, OrNone, Text
from server.catalog.tape_values import AccessionNumber
from server.catalog.vocabulary import (
    CAUTIONS,
    Condition,
    DefectKind,
    Extent,
    Hazard,
    Method,
    Reason,
)

LONGEST_TAPE_MM = 1_000_000
"""A thousand metres: more than three of the largest rolls in use (common practice, no source)."""


class Defect(Input):
    """One thing wrong with a tape, `position_mm` from its first frame where it has a place."""

    kind: DefectKind
    severity: Extent
    position_mm: Annotated[
        Annotated[float, Field(ge=0, le=LONGEST_TAPE_MM, allow_inf_nan=False)] | None, OrNone
    ] = None
    note: Name = ""


Defects = Annotated[tuple[Defect, ...], Field(max_length=100)]


class NewReport(Input):
    """A dated observation of a tape; `machine_readable` is None where it was not tried."""

    tape: AccessionNumber
    checked_on: date
    state: Condition
    reason: Reason = Reason.SCHEDULE
    method: Method = Method.BY_EYE
    defects: Defects = ()
    machine_readable: Annotated[bool | None, OrNone] = None
    advice: Text = ""
    hazard: Hazard = Hazard.NONE


class ReportChange(Input):
    """What to amend in a report: only what is given."""

    checked_on: date | None = None
    state: Condition | None = None
    reason: Reason | None = None
    method: Method | None = None
    defects: Defects = ()
    machine_readable: Annotated[bool | None, OrNone] = None
    advice: Text = ""
    hazard: Hazard | None = None


@dataclass(frozen=True, slots=True)
class ReportRecord:
    """A condition report as it stands after `revision` - 1 amendments."""

    id: int
    tape: str
    tape_title: str
    checked_on: date
    by: str
    state: Condition
    reason: Reason
    method: Method
    defects: tuple[Defect, ...]
    machine_readable: bool | None
    advice: str
    hazard: Hazard
    revision: int
    logged: datetime

    @property
    def cautions(self) -> str:
        """What whoever handles the tape must know; empty where there is nothing."""
        return CAUTIONS[self.hazard]
