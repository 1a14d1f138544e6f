"""Merged readings: what several readings of one tape came to, with the evidence for it."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import JSON, CheckConstraint, Column
from sqlalchemy.orm import deferred
from sqlmodel import Field

from server.store.row import Packed, Row, UtcDateTime
from server.tape.merging import Dispute, SettledBy

_DISPUTES = Column("disputes", Packed, nullable=False)
_CONFIDENCE = Column("confidence", Packed, nullable=False)


class MergedReading(Row, table=True):
    """An image worked out from several readings: written once, as the readings are.

    `reading_id` is the entry under which the image was taken in, with its tape. `follows_id` is
    the merged reading that this one was made from, by settling a frame; at most one follows each.
    `agreement` is a word of `AgreementKind`, `sentence` why the readings are held to agree or not.
    `settlements` lists what was settled by eye so far, with who, when and why. `counts` says how
    many disputes each word of `SettledBy` has. `disputes` is packed by `pack_disputes`;
    `confidence` holds a byte for each frame of the image, in whole percent, never rounded up.
    """

    __tablename__ = "merged_reading"
    __table_args__ = (CheckConstraint("follows_id < id", name="order"),)

    __mapper_args__: ClassVar[dict[str, Any]] = {
        "properties": {"disputes": deferred(_DISPUTES), "confidence": deferred(_CONFIDENCE)}
    }

    id: int | None = Field(default=None, primary_key=True)
    reading_id: int = Field(foreign_key="reading.id", unique=True)
    follows_id: int | None = Field(default=None, foreign_key="merged_reading.id", unique=True)
    release: str
    agreement: str
    sentence: str
    settlements: list[dict[str, Any]] = Field(default_factory=list, sa_type=JSON)
    counts: dict[str, int] = Field(default_factory=dict, sa_type=JSON)
    made_at: datetime = Field(sa_type=UtcDateTime)
    made_by_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    disputes: bytes = Field(sa_column=_DISPUTES)
    confidence: bytes = Field(sa_column=_CONFIDENCE)


class MergedSource(Row, table=True):
    """One of the readings that a merged reading was made from, and how it lies on the image.

    `place` counts from 0 in the order of the votes; the other fields are those of the core's
    `Source`. `is_equal` says that but for leader and trailer it is the merged image.
    """

    __tablename__ = "merged_source"

    merged_id: int = Field(foreign_key="merged_reading.id", primary_key=True)
    place: int = Field(primary_key=True)
    reading_id: int = Field(foreign_key="reading.id", index=True)
    orientation: str
    start: int
    stop: int
    flipped: int
    dropped: int
    doubled: int
    added: int
    score: float
    is_equal: bool


class PartOfDisputes(NamedTuple):
    """Some disputes, and how many there are of the kind asked for."""

    disputes: tuple[Dispute, ...]
    total: int


_WORDS = (
    SettledBy.MAJORITY, SettledBy.PARITY, SettledBy.CHECKSUM, SettledBy.EYE, SettledBy.OPEN,
)  # fmt: skip
"""By the number that stands for each in packed disputes: only ever add to the end."""

_ALONE = 5
"""Numbers of a dispute besides those of each reading."""

_NONE = -1
_PARTS = 1_000_000
"""Confidence is kept in millionths, rounded down."""

_Numbers = NDArray[np.int32]


def pack_disputes(disputes: Sequence[Dispute], readings: int) -> bytes:
    """The disputes among so many readings as bytes; `unpack_disputes` is the inverse.

    Numbers of a kind stand together, for so they shrink best.
    """
    rows = [_numbers(each) for each in disputes]
    table = np.array(rows, "<i4").reshape(len(rows), _ALONE + 2 * readings)
    return table.T.tobytes()


def unpack_disputes(
    packed: bytes,
    readings: int,
    *,
    settled_by: SettledBy | None = None,
    column: int | None = None,
    start: int = 0,
    stop: int | None = None,
) -> PartOfDisputes:
    """Disputes `start` to `stop` of those settled so, at that column, or of all of them."""
    table: _Numbers = np.frombuffer(packed, "<i4").reshape(_ALONE + 2 * readings, -1)
    if settled_by is not None:
        table = table[:, table[3] == _WORDS.index(settled_by)]
    if column is not None:
        table = table[:, table[0] == column]
    part = table[:, start:stop].T.tolist()
    return PartOfDisputes(tuple(_dispute(each, readings) for each in part), table.shape[1])


def _numbers(dispute: Dispute) -> list[int]:
    return [
        dispute.column,
        _or_none(dispute.frame),
        _or_none(dispute.chosen),
        _WORDS.index(dispute.settled_by),
        int(dispute.confidence * _PARTS),
        *map(_or_none, dispute.votes),
        *map(_or_none, dispute.sources),
    ]


def _or_none(number: int | None) -> int:
    return _NONE if number is None else number


def _dispute(numbers: list[int], readings: int) -> Dispute:
    column, frame, chosen, word, confidence, *each = numbers
    values = [None if number == _NONE else number for number in (frame, chosen, *each)]
    return Dispute(
        column=column,
        frame=values[0],
        votes=tuple(values[2 : 2 + readings]),
        sources=tuple(values[2 + readings :]),
        chosen=values[1],
        settled_by=_WORDS[word],
        confidence=confidence / _PARTS,
    )


def pack_confidence(confidence: NDArray[np.float32]) -> bytes:
    """A byte a frame: its confidence in whole percent, never rounded up."""
    return bytes(np.floor(confidence * 100).clip(0, 100).astype(np.uint8))
