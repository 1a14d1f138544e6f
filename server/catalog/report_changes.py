"""What one condition report says otherwise than another on the same tape."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from server.catalog.condition_values import Defect, ReportRecord
from server.catalog.vocabulary import DefectSeverity, Extent

NEAR_MM: Final = 50.0
"""Two defects of one kind so close together are taken for the same one: people measure by hand."""

FIELDS: Final = (
    "state",
    "hazard",
    "handling",
    "machine_readable",
    "action",
    "urgency",
    "advice",
    "next_check",
)


class Course(StrEnum):
    """What became of a defect from one report to the next."""

    NEW = "new"
    WORSE = "worse"
    SAME = "as before"
    BETTER = "better"
    GONE = "not noted any more"


@dataclass(frozen=True, slots=True)
class FieldChange:
    """A field that both reports have, but not alike; None where nothing was said."""

    field: str
    before: object
    after: object


@dataclass(frozen=True, slots=True)
class DefectChange:
    """A defect in one report or both."""

    course: Course
    before: Defect | None
    after: Defect | None

    @property
    def defect(self) -> Defect:
        """The defect as it was noted last."""
        found = self.after or self.before
        assert found is not None
        return found


@dataclass(frozen=True, slots=True)
class Comparison:
    """A report beside an earlier one: what differs, new and worse defects first."""

    before: ReportRecord
    fields: tuple[FieldChange, ...]
    defects: tuple[DefectChange, ...]

    @property
    def differs(self) -> bool:
        """Whether anything does."""
        return bool(self.fields) or any(each.course is not Course.SAME for each in self.defects)


def compare(report: ReportRecord, before: ReportRecord) -> Comparison:
    """What `report` says otherwise than `before`."""
    fields = tuple(
        FieldChange(name, getattr(before, name), getattr(report, name))
        for name in FIELDS
        if getattr(before, name) != getattr(report, name)
    )
    changes = sorted(_defects(before.defects, report.defects), key=_rank)
    return Comparison(before, fields, tuple(changes))


def _rank(change: DefectChange) -> tuple[int, float]:
    place = change.defect.position_mm
    return tuple(Course).index(change.course), -1.0 if place is None else place


def _defects(before: Sequence[Defect], after: Sequence[Defect]) -> Iterator[DefectChange]:
    """Every defect once; the closest of a kind are taken for the same one, each once."""
    pairs = sorted(
        (distance, was, now)
        for was, old in enumerate(before)
        for now, new in enumerate(after)
        if (distance := _distance(old, new)) is not None
    )
    old_taken: set[int] = set()
    new_taken: set[int] = set()
    for _, was, now in pairs:
        if was not in old_taken and now not in new_taken:
            old_taken.add(was)
            new_taken.add(now)
            yield DefectChange(_course(before[was], after[now]), before[was], after[now])
    for now, new in enumerate(after):
        if now not in new_taken:
            yield DefectChange(Course.NEW, None, new)
    for was, old in enumerate(before):
        if was not in old_taken:
            yield DefectChange(Course.GONE, old, None)


def _distance(old: Defect, new: Defect) -> float | None:
    """How far apart two may lie that are taken for one, in mm; None where they are not.

    One without a place may be any of its kind, but sooner one without a place too.
    """
    if old.kind is not new.kind:
        return None
    if old.position_mm is None and new.position_mm is None:
        return 0.0
    if old.position_mm is None or new.position_mm is None:
        return NEAR_MM + 1
    apart = abs(old.position_mm - new.position_mm)
    return apart if apart <= NEAR_MM else None


def _course(old: Defect, new: Defect) -> Course:
    """By severity, then by extent and by length where both reports say it."""
    steps = [_step(tuple(DefectSeverity), old.severity, new.severity)]
    if old.extent is not None and new.extent is not None:
        steps.append(_step(tuple(Extent), old.extent, new.extent))
    if old.length_mm is not None and new.length_mm is not None:
        steps.append(new.length_mm - old.length_mm)
    first = next((each for each in steps if each), 0)
    return Course.WORSE if first > 0 else Course.BETTER if first < 0 else Course.SAME


def _step(scale: Sequence[object], was: object, now: object) -> float:
    return scale.index(now) - scale.index(was)
