"""Letters punched as pictures: read in every size and form, and made."""

from itertools import pairwise

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from server.tape.errors import CannotBuild
from server.tape.image import Image, Orientation, Span
from server.tape.lettering import (
    APART,
    find_lettering,
    letter_frames,
    without_lettering,
)
from server.tape.lettering.alphabets import alphabet, sizes
from server.tape.lettering.drawings import DRAWINGS
from tests.tape.lettered import drawn, taped, texts

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
DIGITS = "0123456789"
SIGNS = "-./():,'+=?!&*"
TITLE = "DICE 12-B (V1.3)"
FITTING = (("5x7", 8), ("5x7", 7), ("7x8", 8), ("5x5", 8), ("5x5", 6), ("5x5", 5))


@pytest.mark.parametrize("name", DRAWINGS)
def test_every_alphabet_has_capitals_digits_and_signs_of_one_size(name):
    letters = alphabet(name)

    assert {*LETTERS, *DIGITS, *SIGNS} <= {glyph.character for glyph in letters.glyphs}
    assert f"{letters.width}x{letters.height}" == name
    assert all(1 <= len(glyph.columns) <= letters.width - glyph.bearing for glyph in letters.glyphs)
    assert all(
        column >> letters.height == 0 for glyph in letters.glyphs for column in glyph.columns
    )


@pytest.mark.parametrize("letters", sizes())
def test_no_two_letters_of_a_size_are_alike_but_for_a_bare_stroke(letters):
    held: dict[tuple[int, ...], set[str]] = {}
    for glyph in letters.glyphs:
        held.setdefault(glyph.columns, set()).add(glyph.character)

    assert {frozenset(alike) for alike in held.values() if len(alike) > 1} <= {frozenset("I1")}


def test_letters_are_read_five_to_eight_holes_broad_and_high():
    assert {size.width for size in sizes()} == {5, 6, 7, 8}
    assert {size.height for size in sizes()} == {5, 6, 7, 8}


@pytest.mark.parametrize("orientation", Orientation)
@pytest.mark.parametrize("upside_down", [False, True])
@pytest.mark.parametrize(("name", "levels"), FITTING)
def test_letters_are_read_whichever_way_the_tape_lay(name, levels, upside_down, orientation):
    letters = letter_frames(TITLE, levels=levels, upside_down=upside_down, alphabet=name)
    image = taped(letters, levels=levels).turned(orientation)

    (found,) = find_lettering(image)

    assert found.text == TITLE
    assert found.confidence > 0.95
    assert image.span_as_read(Span(20, 20 + len(letters)), orientation) == found.span


@pytest.mark.parametrize("letters", sizes())
def test_every_size_is_read_at_every_height_on_the_tape(letters):
    for offset in range(9 - letters.height):
        assert texts(taped(drawn("TAPE 4, REEL 30", letters, offset=offset))) == ["TAPE 4, REEL 30"]


@pytest.mark.parametrize("between", [1, 2, 3])
@pytest.mark.parametrize("word", [5, 6, 7, 8])
def test_words_are_told_apart_by_the_blank_columns_between_them(between, word):
    letters = drawn("LAMP TEST NO 4", alphabet("5x7"), between=between, word=word)

    assert texts(taped(letters)) == ["LAMP TEST NO 4"]


@pytest.mark.parametrize("word", [3, 4])
def test_three_columns_end_a_word_where_letters_stand_one_apart(word):
    assert texts(taped(drawn("LAMP TEST", alphabet("5x7"), word=word))) == ["LAMP TEST"]


@pytest.mark.parametrize(
    ("between", "text"),
    [(1, "DIAL 1.5 TILL 11.30"), (2, "DIAL1.5TILL11.30"), (3, "DIAL1.5TILL11.30")],
)
def test_narrow_letters_in_even_cells_end_no_word(between, text):
    letters = drawn(text, alphabet("5x7"), between=between, cells=True)

    assert texts(taped(letters)) == [text]


def test_uneven_spacing_ends_no_word():
    glyphs = {glyph.character: bytes(glyph.columns) for glyph in reversed(alphabet("5x7").glyphs)}
    gaps = [1, 2, 3, 2, 1, 2, 3]
    letters = b"".join(glyphs[a] + bytes(gap) for a, gap in zip("PUNCHED", gaps, strict=True))

    assert texts(taped(letters.rstrip(b"\0"))) == ["PUNCHED"]


@given(
    text=st.text(st.sampled_from(LETTERS + DIGITS + SIGNS), min_size=4, max_size=30),
    upside_down=st.booleans(),
    orientation=st.sampled_from(Orientation),
)
@example(text="MW01", upside_down=False, orientation=Orientation.REVERSED)
@example(text="0068", upside_down=True, orientation=Orientation.AS_READ)
def test_what_was_written_is_read_or_is_unsure(text, upside_down, orientation):
    assume(len({each for each in text if each in set(LETTERS + DIGITS) - set("I1")}) > 1)
    image = taped(letter_frames(text, upside_down=upside_down)).turned(orientation)
    found = find_lettering(image)

    # Among many signs, letters are too few to be sure of.
    assert len(found) == 1 or sum(each in SIGNS + "I1" for each in text) > len(text) / 2
    # Some texts say another thing when the tape is turned.
    assert all(each.text == text or each.confidence <= 0.5 for each in found)


def test_what_says_another_thing_when_turned_is_read_with_doubt():
    (found,) = find_lettering(taped(letter_frames("0068")))

    assert found.text in ("0068", "8900")
    assert found.confidence == pytest.approx(0.5, abs=0.01)


@given(st.data())
def test_a_wrong_hole_in_a_letter_makes_it_no_surer(data):
    letters = bytearray(letter_frames("MEND THIS"))
    frame = data.draw(st.sampled_from([at for at, column in enumerate(letters) if column]))
    letters[frame] ^= 1 << data.draw(st.integers(1, 7))

    (found,) = find_lettering(taped(bytes(letters)))

    assert found.confidence <= find_lettering(taped(letter_frames("MEND THIS")))[0].confidence
    assert sum(a != b for a, b in zip(found.text, "MEND THIS", strict=False)) <= 1


@pytest.mark.parametrize("wrong", range(1, 5))
def test_the_more_holes_are_wrong_the_less_sure_it_is(wrong):
    letters = bytearray(letter_frames("PUNCHED", alphabet="7x8"))
    sureness = []
    for at in range(wrong):
        letters[8 * at + 3] ^= 0x10
        (found,) = find_lettering(taped(bytes(letters)))
        assert found.text == "PUNCHED"
        sureness.append(found.confidence)

    assert all(before > after for before, after in pairwise([0.99, *sureness]))


def test_a_hole_between_two_letters_does_not_join_them():
    letters = bytearray(letter_frames("REEL"))
    letters[5] = 0x10

    assert texts(taped(bytes(letters))) == ["REEL"]


def test_too_many_wrong_holes_are_no_letters():
    letters = bytearray(letter_frames("REEL"))
    for at in range(0, len(letters), 3):
        letters[at] ^= 0x44

    assert texts(taped(bytes(letters))) == []


def test_letters_stand_before_and_behind_the_data():
    image = taped(letter_frames("START 1"), behind=letter_frames("END 2"))

    assert texts(image) == ["START 1", "END 2"]


def test_several_texts_at_one_end_are_all_read():
    both = letter_frames("FIRST") + bytes(APART) + letter_frames("SECOND")

    assert texts(taped(both)) == ["FIRST", "SECOND"]


def test_texts_without_end_are_not_all_read():
    many = b"".join(letter_frames(f"REEL {number}") + bytes(APART) for number in range(50))

    assert len(find_lettering(Image(many + b"\x55\x33" * 50))) == 16


def test_a_tape_of_letters_alone_is_read_once():
    assert texts(Image(bytes(30) + letter_frames("LABEL") + bytes(30))) == ["LABEL"]
    assert texts(Image(letter_frames("LABEL"))) == ["LABEL"]


@pytest.mark.parametrize("leader", [b"\x80", b"\xff", b"\x55"])
def test_letters_are_read_between_patterned_leader(leader):
    letters = leader * 40 + bytes(4) + letter_frames("OCTAL") + bytes(4) + leader * 40
    image = Image(letters + b"\x42\x01\x3a" * 40 + leader * 40)

    assert texts(image) == ["OCTAL"]


def test_letters_are_blanked_and_nothing_else():
    image = taped(letter_frames("START"), behind=letter_frames("END"))

    bare = without_lettering(image, find_lettering(image))

    assert taped(bytes(29), behind=bytes(17)).frames.strip(b"\0") == bare.frames.strip(b"\0")
    assert len(image) == len(bare)


@given(st.binary(min_size=1, max_size=400), st.sampled_from([5, 6, 7, 8]))
def test_any_frames_can_be_looked_at(frames, levels):
    image = Image(bytes(frame & (1 << levels) - 1 for frame in frames), levels)
    found = find_lettering(image)

    spans = [each.span for each in found]
    assert all(before.stop <= after.start for before, after in pairwise(spans))
    assert all(0 <= span.start < span.stop <= len(image) for span in spans)
    assert all(0 <= each.confidence <= 0.99 for each in found)


# Writing.


def test_tops_lie_at_the_highest_channel_or_at_the_lowest():
    assert letter_frames("L") == bytes([0xFE, 0x02, 0x02, 0x02, 0x02])
    assert letter_frames("L", upside_down=True) == bytes([0x7F, 0x40, 0x40, 0x40, 0x40])
    assert letter_frames("L", levels=5, alphabet="5x5") == bytes([0x1F, 1, 1, 1, 1])


def test_small_letters_are_written_as_capitals_and_spaces_as_one():
    assert letter_frames(" lamp  test\n") == letter_frames("LAMP TEST")


@pytest.mark.parametrize(
    ("given", "options", "what"),
    [
        ("CAFÉ {1}", {}, r"no \{ \} É"),
        (" ", {}, "no characters"),
        ("A", {"alphabet": "9x9"}, "no alphabet 9x9"),
        ("A", {"alphabet": "7x8", "levels": 7}, "8 holes high do not fit on a tape of 7 levels"),
        ("[", {"alphabet": "5x5"}, r"no \["),
    ],
)
def test_what_cannot_be_written_is_refused_with_its_reason(given, options, what):
    with pytest.raises(CannotBuild, match=what) as refused:
        letter_frames(given, **options)

    assert refused.value.mend
