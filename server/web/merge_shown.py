"""What a merge came to, as a page shows it: disputes with their votes, and doubt along the tape."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.catalog.merging_values import DisputeRecord, Settlement, WorkedOut
from server.catalog.records import ReadingRecord
from server.tape.holes import character, holes
from server.tape.merging import Dispute, SettledBy

_BINS: Final = 250
"""Places along the tape at which the picture of confidence has a value."""

_BEFORE: Final = 20
"""Frames before a disputed one with which the page of strips begins."""

NOTHING: Final = "no frame"

SETTLED_WORDS: Final = {
    SettledBy.MAJORITY: "majority",
    SettledBy.PARITY: "parity",
    SettledBy.CHECKSUM: "checksum",
    SettledBy.EYE: "eye",
    SettledBy.OPEN: "open",
}


@dataclass(frozen=True, slots=True)
class FrameShown:
    """A frame as holes, in hexadecimal and as a character; `value` is None where there is none."""

    value: int | None
    holes: str
    hexadecimal: str
    character: str


@dataclass(frozen=True, slots=True)
class Voter:
    """A reading with its vote: where to look in its strips."""

    reading: ReadingRecord
    frame: int

    @property
    def strip(self) -> str:
        """The address of its strips around the frame."""
        return f"/images/{self.reading.sha256}/strip?start={max(self.frame - _BEFORE, 0)}"


@dataclass(frozen=True, slots=True)
class VoteShown:
    """What some readings have at a place."""

    frame: FrameShown
    voters: tuple[Voter, ...]
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class DisputeShown:
    """A dispute with its votes, the most first; `beyond` are readings that do not reach it."""

    column: int
    frame: int | None
    near: int
    chosen: FrameShown
    settled_by: SettledBy
    confidence: float
    votes: tuple[VoteShown, ...]
    beyond: tuple[ReadingRecord, ...]
    settlement: Settlement | None

    @property
    def is_open(self) -> bool:
        """Whether nothing decided it."""
        return self.settled_by is SettledBy.OPEN


@dataclass(frozen=True, slots=True)
class Doubt:
    """Confidence along the tape, 1,000 wide and 40 high: the lowest at each place, as a path.

    It rises from 50 percent, or less, to 100.

    `lowest` is the lowest of all, from 0 to 1, and `at` the first frame that has it; `doubtful`
    counts frames under 99 percent.
    """

    path: str
    lowest: float
    at: int
    doubtful: int


def frame_shown(value: int | None, levels: int, code: str | None) -> FrameShown:
    """One frame for the eye."""
    if value is None:
        return FrameShown(None, NOTHING, "", "")
    return FrameShown(value, holes(value, levels), f"{value:02X}", character(value, code, levels))


def disputes_shown(
    records: Iterable[DisputeRecord],
    readings: Sequence[ReadingRecord],
    levels: int,
    code: str | None,
) -> tuple[DisputeShown, ...]:
    """The disputes among these readings, as a page lists them."""
    return tuple(_dispute(each, readings, levels, code) for each in records)


def of_worked_out(worked_out: WorkedOut, start: int, stop: int) -> tuple[DisputeShown, ...]:
    """Some of the disputes of a merge that is not kept."""
    part = worked_out.merged.disputes[start:stop]
    return disputes_shown(
        (DisputeRecord(each, None) for each in part),
        worked_out.chosen.readings,
        worked_out.merged.image.levels,
        worked_out.examined.decoded.decoding.code,
    )


def _dispute(
    record: DisputeRecord, readings: Sequence[ReadingRecord], levels: int, code: str | None
) -> DisputeShown:
    dispute = record.dispute
    return DisputeShown(
        column=dispute.column,
        frame=dispute.frame,
        near=0 if dispute.frame is None else dispute.frame,
        chosen=frame_shown(dispute.chosen, levels, code),
        settled_by=dispute.settled_by,
        confidence=dispute.confidence,
        votes=_votes(dispute, readings, levels, code),
        beyond=tuple(
            reading
            for reading, source in zip(readings, dispute.sources, strict=True)
            if source is None
        ),
        settlement=record.settlement,
    )


def _votes(
    dispute: Dispute, readings: Sequence[ReadingRecord], levels: int, code: str | None
) -> tuple[VoteShown, ...]:
    voters: dict[int | None, list[Voter]] = {}
    for reading, value, source in zip(readings, dispute.votes, dispute.sources, strict=True):
        if source is not None:
            voters.setdefault(value, []).append(Voter(reading, source))
    shown = (
        VoteShown(frame_shown(value, levels, code), tuple(each), value == dispute.chosen)
        for value, each in voters.items()
    )
    return tuple(sorted(shown, key=lambda vote: -len(vote.voters)))


def doubt(confidence: NDArray[np.float32]) -> Doubt:
    """The picture of the confidence (from 0 to 1) of each frame of an image."""
    edges = np.linspace(0, len(confidence), min(_BINS, len(confidence)), endpoint=False)
    starts = edges.astype(np.int64)
    heights = 80 * (np.minimum.reduceat(confidence, starts) - 0.5).clip(0)
    lefts = 1000 * starts / len(confidence)
    steps = "".join(
        f"L{left:.1f} {40 - height:.1f}H{right:.1f}"
        for left, right, height in zip(
            lefts.tolist(), [*lefts[1:].tolist(), 1000.0], heights.tolist(), strict=True
        )
    )
    at = int(confidence.argmin())
    return Doubt(
        f"M0 40{steps}V40z", float(confidence[at]), at, int((confidence < np.float32(0.99)).sum())
    )


def of_percent(percent: bytes) -> NDArray[np.float32]:
    """Confidence from 0 to 1, as it is kept: a byte a frame, in whole percent."""
    return np.frombuffer(percent, np.uint8).astype(np.float32) / np.float32(100)
