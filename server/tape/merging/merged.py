"""What several readings of one tape come to: the image, and the evidence for each frame of it."""

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Image, Orientation, Span

Vote: TypeAlias = int | None
"""The frame that a reading has at a place, 0 to 255; None where it has none there."""


class SettledBy(StrEnum):
    """What decided a frame that the readings disagreed about."""

    MAJORITY = "majority"
    PARITY = "parity"
    CHECKSUM = "checksum"
    EYE = "eye"
    OPEN = "open"
    """Nothing did: the likeliest frame stands there, and a person should look at the tape.

    So it is where that frame is less than 99 % probable, where as many readings say something
    else, and where two of them differ from it in several channels; unless a checksum settles it.
    """


@dataclass(frozen=True, slots=True)
class Dispute:
    """A place at which the readings disagreed, or of which doubt remains.

    `column` names the place: settling others does not move it. `frame` is its frame in the
    merged image, None where that has none there. `votes` and `sources` have an entry a reading,
    in the order given: what it has there, and the frame of the reading, as it was read, where
    that lies or beside which it is missing; both None where the reading does not reach so far.
    `confidence` is the probability, 0 to 1, that `chosen` is what was punched.
    """

    column: int
    frame: int | None
    votes: tuple[Vote, ...]
    sources: tuple[int | None, ...]
    chosen: Vote
    settled_by: SettledBy
    confidence: float


@dataclass(frozen=True, slots=True)
class Source:
    """How one reading lies on the merged image, and where it differs.

    `orientation` is how it was turned. `span` is the part of the merged image that it covers.
    Of the frames there `flipped` have another value, `dropped` are missing, and the reading has
    `doubled` frames twice and `added` others that the image lacks. `score` is the share of the
    span that it has right, 0 to 1.
    """

    orientation: Orientation
    span: Span
    flipped: int
    dropped: int
    doubled: int
    added: int
    score: float

    @property
    def start(self) -> int:
        """The frame of the merged image with which the reading begins."""
        return self.span.start

    @property
    def errors(self) -> int:
        """How many frames the reading has wrong, by the merged image."""
        return self.flipped + self.dropped + self.doubled + self.added


class AgreementKind(StrEnum):
    """Why readings may be said to agree, or that they may not."""

    EQUAL = "equal"
    """Two readings at least are equal to the merged image, leader and trailer left out."""
    CHECKSUM = "checksum"
    """Checksums settle each dispute between leader and trailer."""
    NOT = "not"


@dataclass(frozen=True, slots=True)
class Agreement:
    """Whether the readings agree by the stated rule, and why, in a sentence.

    `readings` holds the numbers, from 0, of those that are equal to the merged image but for
    leader and trailer. Whether two of them are independent passes, the catalog knows.
    """

    kind: AgreementKind
    sentence: str
    readings: tuple[int, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether the rule is met."""
        return self.kind is not AgreementKind.NOT


@dataclass(frozen=True, slots=True)
class Merged:
    """What `merge` makes of readings; `sources` has an entry a reading, in the order given.

    `confidence` (float32) is as long as the image: the probability that the frame is what was
    punched.
    """

    image: Image
    sources: tuple[Source, ...]
    confidence: NDArray[np.float32]
    disputes: tuple[Dispute, ...]
    agreement: Agreement

    @property
    def open_disputes(self) -> tuple[Dispute, ...]:
        """Those that nothing decided."""
        return tuple(each for each in self.disputes if each.settled_by is SettledBy.OPEN)
