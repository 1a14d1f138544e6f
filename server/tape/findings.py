"""Findings: what was noticed in an image, where it lies on the tape, and what to do about it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from server.tape.image import FRAME_PITCH_MM, Image, Orientation, Span

MM_PER_INCH = 25.4


class Severity(StrEnum):
    """How much a finding matters."""

    NOTE = "note"
    """Worth knowing; the content is whole."""
    WARNING = "warning"
    """Unusual; a person should look."""
    DAMAGE = "damage"
    """Some of the content is wrong or missing here."""


class CheckStatus(StrEnum):
    """What the tape's own checksums and parity say: a fact of the bytes, not a judgement."""

    SOUND = "sound"
    DAMAGED = "damaged"
    NO_CHECK = "no-check"


@dataclass(frozen=True, slots=True)
class Finding:
    """Something noticed in `frames` frames from `frame` (counted from 0) of an image."""

    kind: str
    severity: Severity
    frame: int
    frames: int
    message: str
    advice: str

    @property
    def position_mm(self) -> float:
        """Distance from the first frame of the image, in millimetres."""
        return round(self.frame * FRAME_PITCH_MM, 2)

    @property
    def position_inches(self) -> float:
        """Distance from the first frame of the image, in inches."""
        return round(self.frame * FRAME_PITCH_MM / MM_PER_INCH, 1)

    def as_read(self, image: Image, orientation: Orientation) -> "Finding":
        """The same finding, placed in `image` when it was made in the turned image."""
        span = image.span_as_read(Span(self.frame, self.frame + self.frames), orientation)
        message = self.message.replace(place(self.frame), place(span.start))
        return replace(self, frame=span.start, frames=span.frames, message=message)


def place(frame: int) -> str:
    """Where `frame` lies, in the words of a message: its number and its distance.

    A message may name the place of its own finding in these words, and no other: `as_read`
    keeps them right.
    """
    millimetres = frame * FRAME_PITCH_MM
    return f"frame {frame} ({millimetres:.2f} mm, {millimetres / MM_PER_INCH:.1f} in)"


def check_status(findings: Iterable[Finding], *, carries_check: bool) -> CheckStatus:
    """The status that `findings` amount to on a tape that does or does not check itself."""
    if any(finding.severity is Severity.DAMAGE for finding in findings):
        return CheckStatus.DAMAGED
    return CheckStatus.SOUND if carries_check else CheckStatus.NO_CHECK
