from random import Random

import pytest

from server.tape.kinship import Kind, compare, describe
from tests.bench.programs import line_added, program, renumbered, renumbered_throughout, reworked
from tests.tape.test_fingerprints import basic


@pytest.mark.parametrize("size", [2, 6, 60, 400])
def test_a_program_numbered_anew_is_renumbered_and_nothing_is_changed(size: int) -> None:
    base = program(Random(size), size)
    found = compare(basic(base), basic(renumbered_throughout(Random(1), base)))
    assert (found.kind, found.similarity, found.distance) == (Kind.RENUMBERED, 1.0, 0)
    assert (found.added, found.removed, found.changed) == (0, 0, 0)
    assert describe(found) == "the same program under other line numbers"


def test_a_line_added_before_all_were_numbered_anew_is_the_only_change() -> None:
    base = program(Random(2), 60)
    other = renumbered_throughout(Random(3), line_added(Random(4), base))
    found = compare(basic(base), basic(other))
    assert (found.kind, found.renumbered) == (Kind.NEAR, True)
    assert (found.added, found.removed, found.changed) == (1, 0, 0)
    assert describe(found).endswith(" %: one line added, renumbered")


def test_numbered_anew_but_for_its_jumps_each_line_that_jumps_is_changed() -> None:
    base = ["10 PRINT A", "20 GOTO 10", "30 B=B+1:PRINT B", "40 GOSUB 30", "50 RETURN"]
    other = ["100 PRINT A", "110 GOTO 10", "120 B=B+1:PRINT B", "130 GOSUB 30", "140 RETURN"]
    found = compare(basic(base), basic(other))
    assert (found.kind, found.renumbered, found.changed) == (Kind.NEAR, True, 2)


def test_a_jump_to_another_line_is_no_renumbering() -> None:
    base = program(Random(5), 30)
    base[3], base[20] = "40 GOTO 60", "210 PRINT 1"
    other = renumbered_throughout(Random(6), base)
    other[3] = other[3].replace(other[3].split()[-1], other[20].split()[0])
    found = compare(basic(base), basic(other))
    assert (found.kind, found.renumbered, found.changed) == (Kind.NEAR, True, 1)


def test_versions_under_the_same_numbers_are_not_called_renumbered() -> None:
    random = Random(7)
    for _ in range(20):
        base = program(random, 60)
        assert not compare(basic(base), basic(reworked(random, base))).renumbered


def test_it_is_the_same_from_both_sides_whatever_else_happened() -> None:
    random = Random(8)
    for _ in range(20):
        base = program(random, 40)
        other = basic(renumbered(random, reworked(random, base)))
        assert compare(basic(base), other) == compare(other, basic(base)).turned()
