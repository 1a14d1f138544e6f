"""Edit distance and alignment against their published definitions.

V. I. Levenshtein, 'Binary codes capable of correcting deletions, insertions and reversals',
Soviet Physics Doklady 10 (8), 1966, 707-710: what the distance is. R. A. Wagner and M. J. Fischer,
'The String-to-String Correction Problem', Journal of the ACM 21 (1), 1974, 168-173: the table by
which it is found, written out plainly below. A. Z. Broder, 'On the resemblance and containment of
documents', 1997: what bottom-k samples say of the sets they are drawn from. Python's own difflib
is the peer for alignments. All titles and page numbers are from memory.
"""

from difflib import SequenceMatcher
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.edit_distance import distance
from server.tape.fingerprints import fingerprints
from server.tape.language import line_number
from server.tape.line_pairs import Keyed, pair
from server.tape.listing import Line, Listing
from server.tape.listing_diff import RowKind, align
from server.tape.normal_form import NormalForm, form_of
from tests.bench.programs import line_added, misread, program, reworked

PLENTY = 10_000


def by_definition(a: str | bytes, b: str | bytes) -> int:
    """The last cell of the table: one row for each character of `a`, one column for each of `b`."""
    table = [list(range(len(b) + 1))]
    for row, x in enumerate(a, 1):
        table.append([row])
        for column, y in enumerate(b, 1):
            replaced = table[row - 1][column - 1] + (x != y)
            put_in, taken_out = table[row][column - 1] + 1, table[row - 1][column] + 1
            table[row].append(min(replaced, put_in, taken_out))
    return table[-1][-1]


@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [
        # The pair that textbooks show the table with (from memory).
        ("kitten", "sitting", 3),
        ("saturday", "sunday", 3),
        ("", "abc", 3),
        ("abc", "abc", 0),
    ],
)
def test_the_examples_of_the_textbooks(a: str, b: str, expected: int) -> None:
    assert (distance(a, b, PLENTY), by_definition(a, b)) == (expected, expected)


@given(st.text("AB1 ", max_size=40), st.text("AB1 ", max_size=40))
def test_texts_are_as_far_apart_as_the_table_says(a: str, b: str) -> None:
    assert distance(a, b, PLENTY) == by_definition(a, b)


@given(st.binary(max_size=60), st.binary(max_size=60))
def test_frames_are_as_far_apart_as_the_table_says(a: bytes, b: bytes) -> None:
    assert distance(a, b, PLENTY) == by_definition(a, b)


@pytest.mark.parametrize("change", [line_added, misread, reworked])
def test_programs_are_as_far_apart_as_the_table_says(change) -> None:
    random = Random(3)
    base = program(random, 25)
    a, b = "\n".join(base), "\n".join(change(random, base))
    assert distance(a, b, PLENTY) == by_definition(a, b)


def test_lines_added_and_removed_are_those_that_the_peer_tells() -> None:
    random = Random(4)
    for _ in range(30):
        # All lines of a program differ, so there is one longest common part, and no choice.
        a = program(random, 60)
        b = [line for line in a if random.random() > 0.1]
        for _ in range(4):
            b.insert(random.randrange(len(b) + 1), f"REMARK {random.random()}")
        opcodes = SequenceMatcher(None, a, b, autojunk=False).get_opcodes()
        removed = {at for tag, i, j, _, _ in opcodes if tag != "equal" for at in range(i, j)}
        added = {at for tag, _, _, i, j in opcodes if tag != "equal" for at in range(i, j)}
        rows = align(listing(a).lines, listing(b).lines, language=None)
        assert {
            row.left for row in rows if row.kind in (RowKind.REMOVED, RowKind.CHANGED)
        } == removed
        assert {row.right for row in rows if row.kind in (RowKind.ADDED, RowKind.CHANGED)} == added


@given(st.lists(st.sampled_from("ABC"), max_size=25), st.lists(st.sampled_from("ABC"), max_size=25))
def test_no_fewer_lines_are_matched_than_by_the_peer(a: list[str], b: list[str]) -> None:
    blocks = SequenceMatcher(None, a, b, autojunk=False).get_matching_blocks()
    pairs = pair(Keyed(a, [None] * len(a)), Keyed(b, [None] * len(b)))
    assert len(pairs) >= sum(block.size for block in blocks)


@pytest.mark.parametrize("kept", [0.5, 0.7, 0.9, 0.97])
def test_shared_fingerprints_estimate_the_resemblance_of_the_runs(kept: float) -> None:
    random = Random(5)
    estimates, exact = [], []
    for _ in range(20):
        a = random.randbytes(4000)
        b = a[: int(4000 * kept)] + random.randbytes(4000 - int(4000 * kept))
        runs = [{x[at : at + 8] for at in range(len(x) - 7)} for x in (a, b)]
        exact.append(len(runs[0] & runs[1]) / len(runs[0] | runs[1]))
        one, other = (np.sort(fingerprints(frames(x)).view(np.uint64))[:63] for x in (a, b))
        smallest = np.union1d(one, other)[:63]
        estimates.append(np.intersect1d(np.intersect1d(one, other), smallest).size / 63)
    assert float(np.mean(estimates)) == pytest.approx(float(np.mean(exact)), abs=0.05)


def listing(lines: list[str]) -> Listing:
    return Listing(tuple(Line(line, 0, len(line), line_number(line)) for line in lines))


def frames(content: bytes) -> NormalForm:
    return form_of("unrecognised", None, Listing(), content, {})
