"""Passes of a tape through a reader: which readings are independent, as far as the record tells."""

from collections.abc import Sequence
from itertools import combinations
from typing import Final

from server.catalog.records import ReadingRecord

RULE: Final = (
    "Readings are independent when they are different passes of the tape through a reader. Files "
    "that differ in any frame come from different passes; files that are alike in every frame "
    "count as one pass, for one file may have been sent twice, unless the record gives them "
    "different days or different readers."
)
"""What counts as independent, in the words that pages and help show."""


def is_same_pass(one: ReadingRecord, other: ReadingRecord) -> bool:
    """Whether nothing shows that the two readings are different passes."""
    if one.sha256 != other.sha256:
        return False
    other_day = one.read_on and other.read_on and one.read_on != other.read_on
    other_reader = one.reader and other.reader and one.reader != other.reader
    return not (other_day or other_reader)


def first_pair(readings: Sequence[ReadingRecord]) -> tuple[ReadingRecord, ReadingRecord] | None:
    """The first two of the readings that may be one pass, if there are such."""
    return next((pair for pair in combinations(readings, 2) if is_same_pass(*pair)), None)
