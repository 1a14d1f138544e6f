"""What is given and said in a condition report."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from pydantic import BeforeValidator, Field, StringConstraints, ValidationInfo, field_validator

from server.catalog.defect_words import DEFECTS, DefectKind
from server.catalog.inputs import Input, Name, OrNone, Text
from server.catalog.lengths import millimetres
from server.catalog.tape_values import AccessionNumber
from server.catalog.vocabulary import (
    CAUTIONS,
    Action,
    Condition,
    DefectSeverity,
    Extent,
    Handling,
    Hazard,
    Method,
    Reason,
    Urgency,
)
from server.tape.image import FRAME_PITCH_MM

LONGEST_TAPE_MM = 1_000_000
"""A thousand metres: more than three of the largest rolls in use (common practice, no source)."""


Along = Annotated[
    Annotated[float, Field(ge=0, le=LONGEST_TAPE_MM, allow_inf_nan=False)] | None,
    BeforeValidator(millimetres),
    OrNone,
]
"""A length along a tape in millimetres, or as people write it: 3.41 m, 11 ft 2 in, frame 1342."""

Key = Annotated[str, StringConstraints(pattern=r"^[0-9A-Za-z-]{16,64}$")]
"""What a sender gives a report, so that it is kept once however often it is sent."""


class Defect(Input):
    """One thing wrong with a tape, `position_mm` from its first frame where it has a place.

    `length_mm` is how far it reaches from there on; `extent` how far in words.
    """

    kind: DefectKind
    severity: DefectSeverity
    extent: Annotated[Extent | None, OrNone] = None
    position_mm: Along = None
    length_mm: Along = None
    note: Name = ""

    @field_validator("length_mm")
    @classmethod
    def _has_a_place(cls, length: float | None, given: ValidationInfo) -> float | None:
        if length is not None and given.data.get("position_mm", 0) is None:
            raise ValueError("say from which place on it is so long")
        return length

    @property
    def frame(self) -> int | None:
        """The frame at which it begins; None where it has no place."""
        return None if self.position_mm is None else round(self.position_mm / FRAME_PITCH_MM)

    @property
    def handling(self) -> str:
        """How a tape that has it is handled."""
        return DEFECTS[self.kind].handling


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
    handling: Handling = Handling.AS_USUAL
    action: Action = Action.NONE
    urgency: Urgency = Urgency.IN_TIME
    next_check: Annotated[date | None, OrNone] = None
    key: Annotated[Key | None, OrNone] = None


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
    handling: Handling | None = None
    action: Action | None = None
    urgency: Urgency | None = None
    next_check: Annotated[date | None, OrNone] = None


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
    handling: Handling
    action: Action
    urgency: Urgency
    next_check: date | None
    revision: int
    logged: datetime
    withdrawn: datetime | None = None

    @property
    def cautions(self) -> str:
        """What whoever handles the tape must know; empty where there is nothing."""
        return CAUTIONS[self.hazard]

    @property
    def do_not_run(self) -> bool:
        """Whether the report says that no reader may have the tape."""
        return (
            self.hazard.quarantines
            or self.state is Condition.UNFIT
            or self.handling is Handling.DO_NOT_RUN
            or self.machine_readable is False
        )
