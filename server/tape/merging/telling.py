"""What is said of a merge: the disputes with their votes, the readings, and whether they agree."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.image import Image, Span
from server.tape.merging.columns import BEYOND, MISSING, Booleans, Columns
from server.tape.merging.judging import Verdicts
from server.tape.merging.laying import Laid
from server.tape.merging.merged import (
    Agreement,
    AgreementKind,
    Dispute,
    Merged,
    SettledBy,
    Source,
    Vote,
)
from server.tape.merging.voting import Rates, neighbours

_ALONE: Final = 8
"""Blank frames on either side that make a punched one a stranger to its leader."""
_HALF: Final = 0.5


def tell(
    images: Sequence[Image], laid: Laid, rates: Rates, verdicts: Verdicts, levels: int
) -> Merged:
    """The merged image and all that is said of it."""
    image = Image(verdicts.frames(), levels)
    teller = _Teller(images, laid, verdicts, image)
    confidence = _undisputed(laid.table, rates)
    confidence[verdicts.ballot.columns] = verdicts.confidence
    strangers = teller.strangers()
    confidence[strangers] = _HALF
    disputes = teller.disputes(strangers)
    return Merged(
        image=image,
        sources=tuple(teller.source(number) for number in range(len(images))),
        confidence=confidence[verdicts.chosen >= 0].astype(np.float32),
        disputes=disputes,
        agreement=_agreement(teller.equal(), [each for each in disputes if teller.in_data(each)]),
    )


def _undisputed(table: Columns, rates: Rates) -> NDArray[np.float64]:
    """The probability that readings which agree on a frame are not all wrong about it."""
    all_wrong = np.zeros(table.count)
    for row, log in zip(table.votes, np.log(rates.errors), strict=True):
        all_wrong += np.where(row == BEYOND, 0.0, log)
    sure: NDArray[np.float64] = 1 - np.exp(all_wrong)
    return sure


class _Teller:
    def __init__(
        self, images: Sequence[Image], laid: Laid, verdicts: Verdicts, image: Image
    ) -> None:
        self._images = images
        self._table = laid.table
        self._turns = laid.turns
        self._rows = laid.rows
        self._verdicts = verdicts
        self._image = image
        self._data = image.data_span()
        stands = verdicts.chosen >= 0
        self._frame: NDArray[np.int64] = np.cumsum(stands, dtype=np.int64) - stands
        self._stands = stands

    def strangers(self) -> NDArray[np.intp]:
        """Columns of single punched frames amid leader that only one reading reaches."""
        columns = np.flatnonzero(self._stands)
        frames = self._verdicts.chosen[columns]
        reached = (self._table.votes[:, columns] != BEYOND).sum(axis=0)
        punched = np.flatnonzero(frames)
        apart = np.diff(punched, prepend=-_ALONE - 1, append=frames.size + _ALONE) > _ALONE
        alone = punched[apart[:-1] & apart[1:]]
        found: NDArray[np.intp] = columns[alone[reached[alone] == 1]]
        return found

    def disputes(self, strangers: NDArray[np.intp]) -> tuple[Dispute, ...]:
        """Every dispute but those about the length of leader and trailer, in order."""
        verdicts, columns = self._verdicts, self._verdicts.ballot.columns
        told = self._matters(columns)
        found = [
            self._dispute(int(columns[row]), verdicts.settled_by[row], verdicts.confidence[row])
            for row in np.flatnonzero(told).tolist()
        ]
        known = {each.column for each in found}
        found += [
            self._dispute(column, SettledBy.OPEN, _HALF)
            for column in strangers.tolist()
            if column not in known
        ]
        return tuple(sorted(found, key=lambda each: each.column))

    def in_data(self, dispute: Dispute) -> bool:
        """Whether a dispute lies between leader and trailer."""
        return self._data.start <= int(self._frame[dispute.column]) < self._data.stop

    def _matters(self, columns: NDArray[np.intp]) -> Booleans:
        """Which disputes are about more than how often the frame of a leader is repeated."""
        votes = self._table.votes[:, columns]
        most = votes.max(axis=0)
        existence = ((votes < 0) | (votes == most)).all(axis=0)
        frames = self._frame[columns]
        outside = (frames < self._data.start) | (frames >= self._data.stop)
        eye = np.array([by is SettledBy.EYE for by in self._verdicts.settled_by], np.bool_)
        told: Booleans = ~(existence & outside) | eye
        return told

    def _dispute(self, column: int, by: SettledBy, confidence: float) -> Dispute:
        value = int(self._verdicts.chosen[column])
        votes = self._table.votes[list(self._rows), column].tolist()
        return Dispute(
            column=column,
            frame=int(self._frame[column]) if value >= 0 else None,
            votes=tuple(_vote(each) for each in votes),
            sources=tuple(self._place(number, column) for number in range(len(votes))),
            chosen=_vote(value),
            settled_by=by,
            confidence=float(confidence),
        )

    def _place(self, number: int, column: int) -> int | None:
        """The frame of a reading, as it was read, at or after `column`; None if it ends before."""
        row = self._rows[number]
        if self._table.votes[row, column] == BEYOND:
            return None
        place, length = int(self._table.places[row, column]), len(self._images[number])
        return length - 1 - place if self._turns[number].runs_backwards else place

    def source(self, number: int) -> Source:
        """How one reading differs from what was chosen."""
        votes, chosen = self._table.votes[self._rows[number]], self._verdicts.chosen
        reached = np.flatnonzero(votes != BEYOND)
        start, stop = int(self._frame[reached[0]]), int(self._frame[reached[-1]])
        span = Span(start, stop + bool(self._stands[reached[-1]]))
        flipped = int(np.count_nonzero((votes >= 0) & (chosen >= 0) & (votes != chosen)))
        dropped = int(np.count_nonzero((votes == MISSING) & (chosen >= 0)))
        added = np.flatnonzero((votes >= 0) & (chosen == MISSING))
        before, behind = neighbours(chosen, added)
        doubled = int(np.count_nonzero((votes[added] == before) | (votes[added] == behind)))
        wrong = flipped + dropped + added.size
        return Source(
            orientation=self._turns[number],
            span=span,
            flipped=flipped,
            dropped=dropped,
            doubled=doubled,
            added=added.size - doubled,
            score=max(0.0, 1 - wrong / max(span.frames, 1)),
        )

    def equal(self) -> tuple[int, ...]:
        """The readings that are equal to the image between leader and trailer."""
        merged = self._image.frames[slice(*self._data)]
        return tuple(
            number
            for number, (image, turn) in enumerate(zip(self._images, self._turns, strict=True))
            if merged and _data(image.turned(turn)) == merged
        )


def _data(image: Image) -> bytes:
    return image.frames[slice(*image.data_span())]


def _vote(value: int) -> Vote:
    return value if value >= 0 else None


def _agreement(equal: tuple[int, ...], disputes: Sequence[Dispute]) -> Agreement:
    """Whether the readings agree by the rule: two are equal, or checksums settle each dispute.

    Leader and trailer are left out of either.
    """
    if len(equal) > 1:
        named = ", ".join(str(number + 1) for number in equal[:-1])
        sentence = (
            f"Readings {named} and {equal[-1] + 1} are equal to each other and to the merged "
            "image, leader and trailer left out."
        )
        return Agreement(AgreementKind.EQUAL, sentence, equal)
    if disputes and all(each.settled_by is SettledBy.CHECKSUM for each in disputes):
        sentence = (
            f"No two readings are equal, but each of the {len(disputes)} disputed frames between "
            "leader and trailer stands in a record whose checksum closes with the frame chosen "
            "and with no other."
        )
        return Agreement(AgreementKind.CHECKSUM, sentence, equal)
    return Agreement(AgreementKind.NOT, _why_not(disputes), equal)


def _why_not(disputes: Sequence[Dispute]) -> str:
    others = sum(each.settled_by is not SettledBy.CHECKSUM for each in disputes)
    if not disputes:
        return "No two readings are equal from end to end, and there is no dispute to settle."
    opened = sum(each.settled_by is SettledBy.OPEN for each in disputes)
    doubt = f", {opened} of them open" if opened else ""
    return (
        f"No two readings are equal, and of {len(disputes)} disputed frames between leader and "
        f"trailer {others} are not settled by a checksum{doubt}."
    )
