from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.language import line_number
from server.tape.line_pairs import Keyed, pair
from server.tape.listing import Line
from server.tape.listing_diff import Row, RowKind, align

EQUAL, ADDED, REMOVED, CHANGED = RowKind.EQUAL, RowKind.ADDED, RowKind.REMOVED, RowKind.CHANGED

LAMPS = """\
10 PRINT"HARBOUR LIGHTS"
20 L=INT(9*RND(1))+1
30 INPUT"WHICH LAMP";G
40 IF G=L THEN 60
50 PRINT"DARK":GOTO 30
60 PRINT"LIT":END""".split("\n")
SEED = '5 INPUT"NUMBER";N:X=RND(-N)'


def listing(texts: Sequence[str]) -> tuple[Line, ...]:
    return tuple(Line(text, at, len(text), line_number(text)) for at, text in enumerate(texts))


def rows(a: Sequence[str], b: Sequence[str], language: str | None = "basic") -> tuple[Row, ...]:
    return align(listing(a), listing(b), language=language)


def told(
    a: Sequence[str], b: Sequence[str], language: str | None = "basic"
) -> list[tuple[object, ...]]:
    return [
        (row.kind, row.left, row.right)
        for row in rows(a, b, language)
        if row.kind is not EQUAL or None in (row.left, row.right)
    ]


texts = st.lists(
    st.one_of(
        st.sampled_from(["", "  ", "OK", "LIST", "10 END", "20 ?A", "20 PRINT A", "END"]),
        st.builds(
            "{} {}".format,
            st.integers(1, 12),
            st.sampled_from(["PRINT A", "?A", "GOTO 5", 'PRINT"GREEN LAMP"', 'PRINT"RED LAMP"']),
        ),
        st.text("AB", max_size=12),
    ),
    max_size=14,
)


@given(texts, texts, st.sampled_from(["basic", None]))
def test_the_rows_rebuild_both_listings(a: list[str], b: list[str], language: str | None) -> None:
    found = rows(a, b, language)
    assert [row.left for row in found if row.left is not None] == list(range(len(a)))
    assert [row.right for row in found if row.right is not None] == list(range(len(b)))
    for row in found:
        assert (row.kind is CHANGED) <= (row.left is not None and row.right is not None)
        assert (row.kind is ADDED) <= (row.left is None)
        assert (row.kind is REMOVED) <= (row.right is None)


@given(texts, st.sampled_from(["basic", None]))
def test_a_listing_beside_itself_is_all_equal(a: list[str], language: str | None) -> None:
    assert all(row.kind is EQUAL and row.left == row.right for row in rows(a, a, language))


def test_a_line_put_in_is_the_only_row_that_differs() -> None:
    assert told(LAMPS, [SEED, *LAMPS]) == [(ADDED, None, 0)]
    assert told([SEED, *LAMPS], LAMPS) == [(REMOVED, 0, None)]


def test_a_line_of_the_same_number_is_changed_however_little_is_left_of_it() -> None:
    b = [*LAMPS[:2], "30 GOSUB 900", *LAMPS[3:]]
    assert told(LAMPS, b) == [(CHANGED, 2, 2)]


def test_lines_of_other_numbers_are_other_lines() -> None:
    b = [*LAMPS[:2], '35 INPUT"HOW MANY";G', *LAMPS[3:]]
    assert told(LAMPS, b) == [(REMOVED, 2, None), (ADDED, None, 2)]


def test_a_line_that_was_only_renumbered_is_changed() -> None:
    b = [*LAMPS[:2], '35 INPUT "WHICH LAMP";G', *LAMPS[3:]]
    assert told(LAMPS, b) == [(CHANGED, 2, 2)]


def test_a_renumbered_program_is_changed_line_by_line() -> None:
    b = [f"{100 + at} {text.split(' ', 1)[1]}" for at, text in enumerate(LAMPS)]
    assert told(LAMPS, b) == [(CHANGED, at, at) for at in range(6)]


def test_spacing_and_spelling_of_print_are_no_difference_in_basic() -> None:
    assert told(['10 PRINT "A" ; B'], ['10 ?"A";b']) == []


def test_two_programs_on_one_tape_are_matched_by_what_they_say() -> None:
    other = [text.replace("LAMP", "GATE").replace("L=", "W=") for text in LAMPS]
    assert [kind for kind, _, _ in told(LAMPS, [*other, *LAMPS])] == [ADDED] * 6


def test_a_number_lost_to_a_misreading_still_leaves_the_line_changed() -> None:
    b = [*LAMPS[:3], "4p IF G=L THEN 60", "51" + LAMPS[4][2:], LAMPS[5]]
    assert told(LAMPS, b) == [(CHANGED, 3, 3), (CHANGED, 4, 4)]


def test_what_the_interpreter_said_is_content() -> None:
    assert told(LAMPS, ["LIST", *LAMPS, "OK"]) == [(ADDED, None, 0), (ADDED, None, 7)]


def test_plain_text_is_matched_by_content_and_its_changes_by_likeness() -> None:
    a = ["DEAR KEEPER", "", "THE LAMP IS OUT.", "SEND OIL.", "", "TOM"]
    b = ["DEAR KEEPER", "", "THE LAMPS ARE OUT.", "BRING WICKS, TOO.", "SEND OIL.", "", "TOM"]
    assert told(a, b, None) == [(CHANGED, 2, 2), (ADDED, None, 3)]


def test_blank_lines_face_each_other_and_count_for_nothing() -> None:
    assert told(["A1", "", "B2"], ["", "A1", "", "", "B2"], None) == [
        (EQUAL, None, 0),
        (EQUAL, None, 3),
    ]
    assert told(["XXXX", "", "YYYY"], ["QQQQ", "", "ZZZZ"], None) == [
        (REMOVED, 0, None),
        (ADDED, None, 0),
        (REMOVED, 2, None),
        (ADDED, None, 2),
    ]


@pytest.mark.parametrize("numbers", [[None] * 150, range(150)])
def test_in_a_long_gap_lines_are_held_against_those_facing_them(numbers: Sequence[int]) -> None:
    a = [f"THE LAMP IN ROOM {at} IS OUT" for at in range(150)]
    b = [f"THE LAMP IN ROOM {at} IS LIT" for at in range(149)] + ["WHAT?"]
    pairs = pair(Keyed(a, numbers), Keyed(b, [number and number + 200 for number in numbers]))
    assert pairs == [(at, at) for at in range(149)]


def test_the_pairs_of_a_gap_are_those_most_alike_together() -> None:
    a, b = ["GREEN LAMP ONE", "GREEN LAMP TWO"], ["GREEN LAMP TWO!", "AN ODD LINE", "GREEN LAMP"]
    assert pair(Keyed(a, [None] * 2), Keyed(b, [None] * 3)) == [(0, 0), (1, 2)]


def test_a_line_like_no_other_is_left_alone() -> None:
    pairs = pair(Keyed(["GREEN LAMP", "???"], [None] * 2), Keyed(["GREEN LAMPS"], [None]))
    assert pairs == [(0, 0)]


@pytest.mark.parametrize("keyed", [True, False])
def test_a_dump_of_a_full_roll_is_aligned(keyed: bool) -> None:
    a = [f"{at:05X} {at * 7919 % 65536:04X}" for at in range(7_500)]
    b = [*a[:1000], "11111 XXXX", *a[1000:4000], *a[4002:]]
    keys_a = [at if keyed else None for at in range(7_500)]
    keys_b = [*keys_a[:1000], 999_999 if keyed else None, *keys_a[1000:4000], *keys_a[4002:]]
    assert len(pair(Keyed(a, keys_a), Keyed(b, keys_b))) == 7_498


def test_lines_of_a_program_numbered_anew_are_matched_by_content() -> None:
    left = listing(["10 PRINT A", "20 GOTO 10", "30 B=1", "40 END"])
    right = listing(["100 PRINT A", "110 GOTO 100", "", "115 C=7", "120 B=2", "130 END"])
    found = align(left, right, language="basic", renumbered=True)
    assert [(row.kind, row.left, row.right) for row in found] == [
        ("equal", 0, 0),
        ("equal", 1, 1),
        ("equal", None, 2),
        ("added", None, 3),
        ("changed", 2, 4),
        ("equal", 3, 5),
    ]
