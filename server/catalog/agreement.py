"""Whether readings agree: the archive's rule, on what the merger found."""

import re
from collections.abc import Sequence
from typing import Final

from server.catalog.merging_values import Chosen, Judgement
from server.catalog.records import ReadingRecord
from server.tape.merging import Agreement

RULE: Final = (
    "Readings agree when two independent readings at least are the same as the merged image but "
    "for leader and trailer, or when every frame that they dispute is settled by a checksum of "
    "the tape. All of the readings must be recorded as of one tape. An image with a frame that "
    "was settled by eye is not called so: it stands by its own checksums, or by whoever "
    "proof-reads it."
)
"""When readings agree, in the words that pages and help show."""


_COUNTED: Final = re.compile(r"\b[Rr]eadings? \d+(?:(?:,| and) \d+)*")
"""Readings, as the core names them."""


def judge(agreement: Agreement, chosen: Chosen) -> Judgement:
    """Whether the chosen readings agree, by `RULE`; that they are different passes is given."""
    if chosen.settlements:
        return Judgement(False, "A frame was settled by eye, and no eye makes readings agree.")
    sentence = by_number(agreement.sentence, chosen.readings)
    if not agreement.agrees:
        return Judgement(False, sentence)
    if chosen.tape is None or any(each.tape is None for each in chosen.readings):
        return Judgement(
            False,
            "Not every reading is recorded as of one tape, so nobody can tell whether they are of "
            "the same one. Put each to its tape, and merge them again.",
        )
    return Judgement(True, sentence)


def by_number(told: str, readings: Sequence[ReadingRecord]) -> str:
    """What the core told of readings, which it counts from 1, in the numbers of the archive."""
    return _COUNTED.sub(
        lambda named: re.sub(r"\d+", lambda at: str(readings[int(at[0]) - 1].id), named[0]), told
    )
