from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.words_diff import Piece, PieceKind, merged, pieces

EQUAL, REMOVED, ADDED = PieceKind.EQUAL, PieceKind.REMOVED, PieceKind.ADDED
lines = st.text(st.sampled_from('AB1 "?:;PRINTxy.'), max_size=30)


@given(lines, lines, st.sampled_from(["basic", None]))
def test_the_pieces_of_a_side_make_up_its_line(left: str, right: str, language: str | None) -> None:
    told = pieces(left, right, language=language)
    assert ["".join(piece.text for piece in side) for side in told] == [left, right]
    assert {piece.kind for piece in told[0]} <= {EQUAL, REMOVED}
    assert {piece.kind for piece in told[1]} <= {EQUAL, ADDED}


@given(lines, lines)
def test_some_piece_differs_where_the_lines_do(left: str, right: str) -> None:
    told = pieces(left, right, language="basic")
    assert any(piece.kind is not EQUAL for side in told for piece in side) == (left != right)


def test_a_word_changed_is_marked_alone() -> None:
    assert pieces('40 PRINT"A RED LAMP"', '40 PRINT"A BLUE LAMP"', language="basic") == (
        (Piece(EQUAL, '40 PRINT"A '), Piece(REMOVED, "RED"), Piece(EQUAL, ' LAMP"')),
        (Piece(EQUAL, '40 PRINT"A '), Piece(ADDED, "BLUE"), Piece(EQUAL, ' LAMP"')),
    )


def test_run_together_words_are_told_apart_and_spacing_is_no_change() -> None:
    left, right = pieces("10 FORI=1TON", "10 FOR I = 1 TO M", language="basic")
    assert left == (Piece(EQUAL, "10 FORI=1TO"), Piece(REMOVED, "N"))
    assert right == (Piece(EQUAL, "10 FOR I = 1 TO "), Piece(ADDED, "M"))


def test_blanks_inside_what_was_added_do_not_cut_it_in_two() -> None:
    _, right = pieces("10 X=1", "10 X=1 : Y = 2", language="basic")
    assert right == (Piece(EQUAL, "10 X=1 "), Piece(ADDED, ": Y = 2"))


@pytest.mark.parametrize(("left", "right"), [("10 ?A", "10 PRINT A"), ("10 print A", "10 PRINT A")])
def test_where_only_spelling_differs_the_spelling_is_told(left: str, right: str) -> None:
    told = pieces(left, right, language="basic")
    assert any(piece.kind is ADDED for piece in told[1])


def test_what_stands_in_quotes_is_compared_as_it_stands() -> None:
    _, right = pieces('10 ?"a b"', '10 ?"A b"', language="basic")
    assert right == (Piece(EQUAL, '10 ?"'), Piece(ADDED, "A"), Piece(EQUAL, ' b"'))


@given(lines, lines, st.sampled_from(["basic", None]))
def test_both_lines_as_one_are_the_right_line_without_what_was_removed(
    left: str, right: str, language: str | None
) -> None:
    told = merged(left, right, language=language)
    assert "".join(each.text for each in told if each.kind is not REMOVED) == right
    kept = "".join(each.text for each in told if each.kind is not ADDED)
    if language is None:
        assert kept == left
    assert all(one.kind is not other.kind for one, other in pairwise(told))


@given(lines, lines)
def test_both_lines_as_one_remove_and_add_what_either_side_is_told_to(
    left: str, right: str
) -> None:
    told = merged(left, right, language=None)
    sides = pieces(left, right, language=None)
    for kind, side in zip((REMOVED, ADDED), sides, strict=True):
        one, other = ("".join(each.text for each in x if each.kind is kind) for x in (told, side))
        assert one == other


def test_a_word_changed_stands_beside_the_one_it_took_the_place_of() -> None:
    assert merged("10 FORI=1TON", "10 FOR I = 1 TO M", language="basic") == (
        Piece(EQUAL, "10 FOR I = 1 TO "), Piece(REMOVED, "N"), Piece(ADDED, "M"),
    )  # fmt: skip
