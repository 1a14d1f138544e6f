"""What people saw on the paper, laid over the frames: which findings it may explain."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from server.tape.findings import Finding
from server.tape.image import FRAME_PITCH_MM

LEAST_MM: Final = 50.0
SHARE: Final = 0.01
"""People measure along a tape with a rule, often to a tenth of a metre, and a reading begins
where the reader caught the leader: so far from a defect its trace may lie. Ours; no source."""


@dataclass(frozen=True, slots=True)
class PaperDefect:
    """A defect over `frames` frames from `frame` (counted from 0) of an image as read.

    `kind` and `told` are words for people; `trait` is one of break, holes, shape, surface.
    """

    kind: str
    trait: str
    frame: int
    frames: int
    told: str

    @property
    def position_mm(self) -> float:
        """Distance from the first frame of the image, in millimetres."""
        return self.frame * FRAME_PITCH_MM


def tolerance_mm(position_mm: float) -> float:
    """How far from a defect at that place a finding may lie that is set beside it, in mm."""
    return max(LEAST_MM, SHARE * position_mm)


def is_near(finding: Finding, defect: PaperDefect) -> bool:
    """Whether the two lie in one place, as far as a rule along the tape can tell."""
    gap = max(
        defect.frame - (finding.frame + max(finding.frames, 1) - 1),
        finding.frame - (defect.frame + max(defect.frames, 1) - 1),
        0,
    )
    return gap * FRAME_PITCH_MM <= tolerance_mm(defect.position_mm)


def beside(
    findings: Iterable[Finding], defects: Sequence[PaperDefect]
) -> tuple[tuple[PaperDefect, ...], ...]:
    """For each finding the defects in its place, the nearest first."""
    return tuple(
        tuple(
            sorted(
                (each for each in defects if is_near(finding, each)),
                key=lambda each: abs(each.frame - finding.frame),
            )
        )
        for finding in findings
    )
