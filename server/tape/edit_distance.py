"""Edit distance with bounded work: the fewest single changes that turn one text into another.

V. I. Levenshtein, 'Binary codes capable of correcting deletions, insertions and reversals',
Soviet Physics Doklady 10 (8), 1966. The distance is exact whenever it is given; the work is
bounded by giving up beyond a cut-off. Three things are tried in turn, dearer ones last: the
difference in length; the pairs of neighbouring characters, of which one change alters at most
four counts (E. Ukkonen, 'Approximate string-matching with q-grams and maximal matches', 1992);
and a band about the diagonal that widens from a guess up to the cut-off.
"""

import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Levenshtein

from server.tape.alignment import Gap

AFFORDABLE = 120_000 * 48_000
"""Length times distance that is worth computing: a full roll, two fifths of it changed, takes
0.2 s. A cut-off beyond it is lowered to it."""

_PROFILED = 4096
"""Characters from which counting pairs of neighbours is quicker than trying."""

_GUESS = 64
"""One change in so many characters is guessed first."""


def affordable(longer: int) -> int:
    """The greatest distance that is computed between texts the longer of which is so long."""
    return AFFORDABLE // max(longer, 1)


def distance(a: bytes | str, b: bytes | str, most: int) -> int | None:
    """The edit distance of `a` and `b`; None where it is more than `most` or than affordable."""
    longer = max(len(a), len(b))
    most = min(most, longer, affordable(longer))
    if at_least(a, b) > most:
        return None
    guess = longer // _GUESS + _GUESS
    found: int = Levenshtein.distance(a, b, score_cutoff=most, score_hint=guess)
    return found if found <= most else None


def at_least(a: bytes | str, b: bytes | str) -> int:
    """A distance that the edit distance is not less than, found in time linear in the length."""
    difference = abs(len(a) - len(b))
    if min(len(a), len(b)) < _PROFILED:
        return difference
    surplus = int(np.abs(_neighbours(a) - _neighbours(b)).sum())
    return max(difference, (surplus + 3) // 4)


def counts(a: bytes, b: bytes, known: int) -> tuple[int, int, int]:
    """How many bytes are put in, taken out and replaced, where the distance `known` is known."""
    edits = Levenshtein.editops(a, b, score_hint=known)
    kinds = [edit.tag for edit in edits]
    return kinds.count("insert"), kinds.count("delete"), kinds.count("replace")


def edits(a: bytes, b: bytes, hint: int) -> list[Gap]:
    """What of `a` was turned into what of `b`; `hint` is their distance, or a guess at it.

    Neighbouring changes of one kind are together; one of the two is empty, or both are as long.
    """
    blocks = Levenshtein.opcodes(a, b, score_hint=hint)
    return [
        Gap(each.src_start, each.src_end, each.dest_start, each.dest_end)
        for each in blocks
        if each.tag != "equal"
    ]


def _neighbours(text: bytes | str) -> NDArray[np.intp]:
    """How often each pair of neighbouring bytes stands in `text`."""
    data = text if isinstance(text, bytes) else text.encode("latin-1", "replace")
    codes = np.frombuffer(data, dtype=np.uint8).astype(np.uint16)
    return np.bincount(codes[:-1] << 8 | codes[1:], minlength=1 << 16)
