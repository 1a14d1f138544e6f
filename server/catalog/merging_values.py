"""Merging readings: what is chosen, what came of it, and what an archivist settles."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Final

from pydantic import Field

from server.catalog.inputs import Input, OrNone, RequiredText, Sha256
from server.catalog.records import ReadingRecord
from server.catalog.tape_values import RecordNumber
from server.catalog.uploads import Examined
from server.tape.findings import CheckStatus
from server.tape.image import FRAME_PITCH_MM, Image
from server.tape.merging import AgreementKind, Dispute, Merged, SettledBy, Source

FEWEST: Final = 2
MOST: Final = 20
"""Readings that can be merged at once."""


class NewMerge(Input):
    """Which readings to merge; `sha256` is the image expected of it, as it was shown before."""

    readings: Annotated[
        tuple[RecordNumber, ...],
        Field(
            min_length=FEWEST, max_length=MOST, description="Numbers of 2 to 20 readings of a tape."
        ),
    ]
    sha256: Annotated[
        Sha256 | None,
        OrNone,
        Field(description="The image that must come of it, if one was seen before."),
    ] = None


class Ruling(StrEnum):
    """What an archivist decides of a disputed frame."""

    FRAME = "frame"
    """These holes are punched there."""
    NO_FRAME = "no-frame"
    """There is no frame: the readings that have one read it twice, or read what is not there."""
    AS_VOTED = "as-voted"
    """What was settled by eye is taken back."""


class Settling(Input):
    """How a disputed frame is settled by eye; the note says what was seen."""

    column: Annotated[int, Field(ge=0, le=2**31 - 1, description="The dispute, by its column.")]
    ruling: Annotated[
        Ruling, Field(description="`frame`, `no-frame`, or `as-voted` to take a settlement back.")
    ]
    value: Annotated[
        Annotated[int, Field(ge=0, le=255)] | None,
        OrNone,
        Field(description="The frame punched there, where the ruling is `frame`."),
    ] = None
    note: Annotated[RequiredText, Field(description="What was seen, and where.")]

    @property
    def frame(self) -> int | None:
        """The frame that it comes to; None where there is none."""
        return self.value if self.ruling is Ruling.FRAME else None


@dataclass(frozen=True, slots=True)
class Settlement:
    """A disputed frame settled by eye: `value` is the frame, None where there is none."""

    column: int
    value: int | None
    by: str
    at: datetime
    note: str


@dataclass(frozen=True, slots=True)
class Candidate:
    """A reading that may be chosen; `same_as` is an earlier one that may be the same pass."""

    reading: ReadingRecord
    bytes: int
    format: str
    check_status: CheckStatus
    same_as: int | None

    @property
    def id(self) -> int:
        """The number of the reading."""
        return self.reading.id


@dataclass(frozen=True, slots=True)
class Chosen:
    """Readings of one tape, in the order of their numbers, with the image of each.

    `settlements` are in force while they are merged; `follows` is the merged reading that made
    them so, and `ruled` the column that the last ruling was about.
    """

    readings: tuple[ReadingRecord, ...]
    images: tuple[Image, ...]
    tape: str | None
    settlements: tuple[Settlement, ...] = ()
    follows: int | None = None
    ruled: Settling | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """Whether the readings agree by the archive's rule, and why or why not."""

    agree: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class SourceRecord:
    """A reading as it lies on the merged image; `is_equal` but for leader and trailer."""

    reading: ReadingRecord
    source: Source
    is_equal: bool


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """What the chosen readings come to, before anything of it is kept."""

    chosen: Chosen
    merged: Merged
    examined: Examined
    judgement: Judgement

    @property
    def sha256(self) -> str:
        """The name of the merged image."""
        return self.merged.image.sha256

    @property
    def counts(self) -> dict[SettledBy, int]:
        """How many disputes each word settles; words that settle none are left out."""
        words = [each.settled_by for each in self.merged.disputes]
        return {word: words.count(word) for word in SettledBy if word in words}

    @property
    def sources(self) -> tuple[SourceRecord, ...]:
        """How each reading lies on the merged image."""
        pairs = zip(self.chosen.readings, self.merged.sources, strict=True)
        return tuple(
            SourceRecord(reading, source, place in self.merged.agreement.readings)
            for place, (reading, source) in enumerate(pairs)
        )


@dataclass(frozen=True, slots=True)
class DisputeRecord:
    """A place where the readings disagreed, and what settled it.

    The fields are those of the core's `Dispute`; `settlement` says who settled it by eye.
    """

    dispute: Dispute
    settlement: Settlement | None

    @property
    def position_mm(self) -> float | None:
        """Where it lies from the first frame of the merged image; None where it has no frame."""
        frame = self.dispute.frame
        return None if frame is None else round(frame * FRAME_PITCH_MM, 2)


@dataclass(frozen=True, slots=True)
class MergedRow:
    """A merged reading in a list."""

    id: int
    sha256: str
    tape: str | None
    made: datetime
    by: str
    readings: tuple[int, ...]
    counts: Mapping[SettledBy, int]
    agree: bool
    follows: int | None
    followed_by: int | None

    @property
    def disputes(self) -> int:
        """How many disputes there were."""
        return sum(self.counts.values())

    @property
    def open(self) -> int:
        """How many of them nothing decided."""
        return self.counts.get(SettledBy.OPEN, 0)


@dataclass(frozen=True, slots=True)
class MergedRecord:
    """A merged reading with its evidence; `row` is what lists say of it.

    `agreement` is what the merger found, `judgement` what the archive made of it by its rule.
    `confidence` holds a byte for each frame of the image, in whole percent.
    """

    row: MergedRow
    levels: int
    release: str
    agreement: AgreementKind
    judgement: Judgement
    sources: tuple[SourceRecord, ...]
    settlements: tuple[Settlement, ...]
    confidence: bytes
