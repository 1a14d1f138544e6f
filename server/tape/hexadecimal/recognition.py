"""How sure it is that a text is made of records: from a bounded sample of them."""

import re

from server.tape.hexadecimal.outside import printable
from server.tape.hexadecimal.records import Grammar, Scan, scan

SAMPLE_CHARACTERS = 8192
"""Some 180 records of the usual length."""

SEARCHED_CHARACTERS = 1 << 18
"""How far in the first record is looked for: more than any title or comment before it."""

ALL_PASS, MOST_PASS, SHAPE_ONLY, MENTIONED = 0.99, 0.985, 0.975, 0.1
"""Records are text too, and text is at most 0.97 sure of it: a record that is as long as it says,
let alone one that adds up, is the better explanation, on a short and damaged tape as well."""


def weigh(text: bytes, grammar: Grammar, start: re.Pattern[bytes]) -> tuple[float, str] | None:
    """Confidence, 0 to 1, and the reason in words; None where `text` has no such record.

    `start` matches the beginning of a record. Only the first records are looked at.
    """
    first = start.search(text, 0, SEARCHED_CHARACTERS)
    if not first:
        return None
    sample = text[first.start() : first.start() + SAMPLE_CHARACTERS]
    if len(sample) == SAMPLE_CHARACTERS:
        # A record that the sample cuts off says nothing against the tape.
        sample = sample[: max(sample.rfind(grammar.mark), 1)]
    return _weighed(sample, scan(sample, grammar))


def _weighed(sample: bytes, found: Scan) -> tuple[float, str]:
    passing = len(found.records)
    records = passing + found.suspects.size
    shaped = passing + found.failing
    covered = int((found.records.stops - found.records.starts).sum())
    counted = f"{passing} of the first {records} records pass their checksums"
    if shaped * 2 < records or not records:
        return MENTIONED, f"{counted}, and most are not as long as they say"
    if passing and covered < int(printable(sample).sum()) / 4:
        return MENTIONED, f"{counted}, in text of another kind"
    if passing == records:
        return ALL_PASS, f"all of the first {records} records pass their checksums"
    if passing * 2 >= records:
        return MOST_PASS, counted
    return SHAPE_ONLY, f"{counted}, though most are as long as they say"
