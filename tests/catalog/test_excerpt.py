from hypothesis import given
from hypothesis import strategies as st

from server.catalog.excerpt import ELLIPSIS, WIDEST, one_line, pieces
from server.store.search import fold


def test_every_place_in_a_short_line_is_marked_in_its_own_case():
    found = pieces('10 PRINT "Print PRINTED"', "print")

    assert found == (
        ("10 ", False),
        ("PRINT", True),
        (' "', False),
        ("Print", True),
        (" ", False),
        ("PRINT", True),
        ('ED"', False),
    )


def test_long_text_is_cut_around_the_first_match():
    found = pieces("a" * 400 + "needle" + "b" * 400, "needle")

    assert found[0] == (ELLIPSIS, False)
    assert found[-1] == (ELLIPSIS, False)
    assert ("needle", True) in found
    assert sum(len(text) for text, _ in found) == WIDEST + 2


def test_match_at_the_end_of_a_long_text_is_shown():
    found = pieces("a" * 400 + "needle", "NEEDLE")

    assert found[-1] == ("needle", True)
    assert found[0] == (ELLIPSIS, False)


def test_long_needle_is_shown_whole():
    needle = "n" * 200

    assert (needle, True) in pieces("a" * 300 + needle + "b" * 300, needle)


def test_excerpt_of_several_lines_is_one_line():
    assert pieces("first\r\nsecond\tthird\0", "second") == (
        ("first  ", False),
        ("second", True),
        (" third\N{REPLACEMENT CHARACTER}", False),
    )


def test_mark_falls_on_the_right_characters_after_accents():
    assert pieces("E\N{COMBINING ACUTE ACCENT}TE\N{COMBINING ACUTE ACCENT} x", "té") == (
        ("É", False),
        ("TÉ", True),
        (" x", False),
    )


@given(st.text(max_size=300), st.data())
def test_excerpt_marks_what_was_looked_for_and_adds_nothing(text: str, data: st.DataObject):
    start = data.draw(st.integers(0, len(text)))
    needle = data.draw(st.text(min_size=1, max_size=5) | st.just(text[start : start + 9] or "x"))

    found = pieces(text, needle)

    assert all(fold(shown) == fold(one_line(needle)) for shown, match in found if match)
    shown = "".join(each for each, _ in found).strip(ELLIPSIS)
    assert shown in one_line(text) or ELLIPSIS in text
