from random import Random

import pytest

from server.tape.kinship import Kind, Unit, compare, describe
from tests.bench.programs import misread, program, renumbered_throughout
from tests.tape.test_fingerprints import basic
from tests.tape.test_kinship import frames, memory, plain


@pytest.mark.parametrize(("before", "after"), [(40, 0), (0, 70), (40, 70)])
def test_a_program_on_a_reel_of_several_is_part_of_it(before: int, after: int) -> None:
    random = Random(1)
    one = program(random, 30)
    others = program(random, before) if before else [], program(random, after) if after else []
    reel = [*others[0], *one, *others[1]]
    found = compare(basic(reel), basic(one))
    assert (found.kind, found.similarity, found.added) == (Kind.PART_OF, 1.0, 0)
    assert found.removed == len(others[0]) + len(others[1])
    assert found.distance == len(basic(reel).text) - len(basic(one).text)
    assert describe(found) == f"all of it stands in the other, which has {found.removed} lines more"
    turned = compare(basic(one), basic(reel))
    assert (turned, turned.kind) == (found.turned(), Kind.HOLDS)
    assert (
        describe(turned) == f"all of the other stands in it, which has {found.removed} lines more"
    )


def test_a_copy_cut_short_is_part_of_the_whole() -> None:
    whole = program(Random(2), 100)
    for kept in (10, 50, 80):
        found = compare(basic(whole), basic(whole[:kept]))
        assert (found.kind, found.removed) == (Kind.PART_OF, len(whole) - kept)


def test_a_part_with_errors_is_compared_with_where_it_stands() -> None:
    one, other = program(Random(3), 40), program(Random(4), 80)
    found = compare(basic([*other, *one]), basic(misread(Random(5), one)))
    assert found.kind is Kind.PART_OF
    assert 0.95 < found.similarity < 1
    assert found.changed > 3
    assert describe(found).startswith(f"{found.similarity:.1%}".replace("%", " % of it stands"))


def test_a_part_numbered_anew_is_part_all_the_same() -> None:
    one, other = program(Random(6), 40), program(Random(7), 80)
    found = compare(basic([*one, *other]), basic(renumbered_throughout(Random(8), one)))
    assert (found.kind, found.similarity, found.renumbered) == (Kind.PART_OF, 1.0, True)
    assert describe(found).startswith("all of it stands in the other, under other line numbers,")


def test_of_two_copies_on_a_reel_one_is_found() -> None:
    one = program(Random(9), 40)
    found = compare(basic([*one, *one]), basic(one))
    assert (found.kind, found.similarity, found.removed) == (Kind.PART_OF, 1.0, len(one))


@pytest.mark.parametrize("lines", [["10 END", "20 STOP"], ["10 A", "20 B", "30 C"]])
def test_what_is_too_short_to_tell_is_part_of_nothing(lines: list[str]) -> None:
    assert compare(basic([*lines, *program(Random(1), 40)]), basic(lines)).kind is Kind.UNRELATED


def test_a_few_lines_added_at_the_end_make_a_version() -> None:
    base = program(Random(10), 12)
    assert compare(basic(base), basic([*base, "900 END", "910 STOP"])).kind is Kind.NEAR


def test_versions_reworked_throughout_are_no_parts() -> None:
    base = [f"{at} PRINT {at * at}" for at in range(10, 400, 10)]
    more = [line for at in base for line in (at, f"{at[:-1]}5 REM {at}")]
    assert compare(basic(more), basic(base)).kind is not Kind.PART_OF


def test_letters_are_parts_too() -> None:
    lines = [f"Line {at} of the letter about the mooring" for at in range(40)]
    assert compare(plain(lines), plain(lines[10:25])).kind is Kind.PART_OF


def test_frames_cut_short_or_joined_are_parts() -> None:
    random = Random(11)
    one, other = random.randbytes(2000), random.randbytes(3000)
    for whole in (one + other, other + one, other + one + other):
        found = compare(frames(whole), frames(one))
        assert (found.kind, found.distance) == (Kind.PART_OF, len(whole) - len(one))
        assert (found.unit, found.removed) == (Unit.FRAME, len(whole) - len(one))


def test_frames_misread_are_found_in_a_reel() -> None:
    random = Random(12)
    one, other = random.randbytes(2000), random.randbytes(9000)
    read = bytearray(one)
    for at in range(0, 2000, 100):
        read[at] ^= 1
    del read[555]
    found = compare(frames(other + one + other), frames(bytes(read)))
    assert found.kind is Kind.PART_OF
    assert found.similarity == pytest.approx(1 - 21 / 2000, abs=1e-4)


@pytest.mark.parametrize("size", [20, 40])
def test_a_few_frames_of_many_are_no_part_unless_they_tell_something(size: int) -> None:
    data = Random(13).randbytes(500)
    expected = Kind.PART_OF if size == 40 else Kind.UNRELATED
    assert compare(frames(data), frames(data[100 : 100 + size])).kind is expected


def test_frames_that_stand_nowhere_in_the_other_are_no_part() -> None:
    random = Random(14)
    assert compare(frames(random.randbytes(900)), frames(random.randbytes(90))).kind is (
        Kind.UNRELATED
    )


def test_one_piece_of_memory_is_part_of_all_of_it() -> None:
    random = Random(15)
    one, other = random.randbytes(200), random.randbytes(300)
    found = compare(memory({0: one, 900: other}), memory({0x4000: other}))
    assert (found.kind, found.removed) == (Kind.PART_OF, 200)


def test_a_listing_is_no_part_of_frames() -> None:
    lines = program(Random(16), 40)
    content = "\n".join(lines).encode()
    assert compare(frames(content + Random(1).randbytes(9000)), basic(lines)).kind is (
        Kind.UNRELATED
    )
