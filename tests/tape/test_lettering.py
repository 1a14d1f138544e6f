"""Letters punched as pictures: read in every size and form, and never seen where none are."""

import random
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from server.tape.errors import CannotBuild
from server.tape.formats import FORMATS
from server.tape.formats.text import TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Image, Orientation, Span
from server.tape.lettering import (
    APART,
    find_lettering,
    letter_frames,
    lettering_findings,
    without_lettering,
)
from server.tape.lettering.alphabets import alphabet, sizes
from server.tape.lettering.drawings import DRAWINGS
from server.tape.parts import PartKind
from tests.tape.basic_tapes import saved

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
DIGITS = "0123456789"
SIGNS = "-./():,'+=?!&*"
TITLE = "DICE 12-B (V1.3)"
FITTING = (("5x7", 8), ("5x7", 7), ("7x8", 8), ("5x5", 8), ("5x5", 6), ("5x5", 5))
PROGRAM = bytes.fromhex("3E41D301C30001") * 12
IMAGES = Path(__file__).parents[2] / "seed_data" / "images"


def taped(letters, data=b"\x31\xb1\xb2" * 30, *, behind=b"", levels=8):
    """A tape of letters, data, and letters behind it, with blank frames between."""
    data = bytes(frame & (1 << levels) - 1 for frame in data)
    return Image(bytes(20) + letters + bytes(20) + data + bytes(20) + behind + bytes(20), levels)


def texts(image):
    return [each.text for each in find_lettering(image)]


def drawn(text, letters, *, between=1, word=5, offset=0, cells=False):
    """The columns of `text` in any alphabet, `between` blank columns apart or in even cells."""
    glyphs = {glyph.character: glyph for glyph in reversed(letters.glyphs)}
    frames = b""
    for character in text:
        if character == " ":
            frames += bytes(letters.width + between if cells else word - between)
            continue
        glyph = glyphs[character]
        columns = bytes(column << offset for column in glyph.columns)
        if cells:
            columns = bytes(glyph.bearing) + columns
            columns = columns.ljust(letters.width, b"\0")
        frames += columns + bytes(between)
    return frames.strip(b"\0")


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
def test_what_was_written_is_read(text, upside_down, orientation):
    assume(len({each for each in text if each in set(LETTERS + DIGITS) - {"I"}}) > 2)
    assume(not set(text) <= set("AHIMOTUVWXY08BCDEK3-.:=+*!"))  # reads the same when turned
    image = taped(letter_frames(text, upside_down=upside_down)).turned(orientation)

    assert texts(image) in ([text], [])


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


@pytest.mark.parametrize(
    "frames",
    [
        letter_frames("DATA") + bytes(APART - 1) + b"\x41\x42" * 30,
        b"\x41\x42" * 30 + bytes(APART - 1) + letter_frames("DATA"),
        b"\xff" * 20 + letter_frames("DATA") + bytes(40),
        letter_frames("DATA") + b"\xff" * 20,
        letter_frames("TT"),
        letter_frames("I1"),
        letter_frames("A-.-.-.-"),
        letter_frames("LONG " * 80),
    ],
    ids=["near data", "behind data", "by rub-outs", "at rub-outs", "one", "bare", "signs", "long"],
)
def test_what_may_be_data_is_left_alone(frames):
    assert texts(Image(frames)) == []


@pytest.mark.parametrize(("levels", "frame"), [(8, 0x00), (8, 0xFF), (8, 0x80), (5, 0x1F), (5, 1)])
def test_a_tape_of_one_frame_has_no_letters(levels, frame):
    assert texts(Image(bytes([frame]) * 3000, levels)) == []


def sparse(draw):
    """Frames that are mostly blank, of few values: what is likeliest to look like letters."""
    values = [*draw.sample(range(1, 256), draw.randint(1, 5)), 0x7F, 0x41, 0x08]
    blank = draw.uniform(0.2, 0.9)
    return bytes(0 if draw.random() < blank else draw.choice(values) for _ in range(400))


def runs(draw):
    """Runs as long as letters, with gaps as between letters."""
    return b"".join(
        bytes(draw.choices(range(1, 256), k=draw.randint(1, 8))) + bytes(draw.randint(1, 8))
        for _ in range(30)
    )


NOISE = {
    "any": lambda draw: draw.randbytes(400),
    "sparse": sparse,
    "runs": runs,
    "words": lambda draw: b"".join(bytes([0, draw.randrange(256)]) for _ in range(200)),
    "walking": lambda draw: b"".join(bytes([1 << at % 8, 0]) for at in range(draw.randint(8, 200))),
}


@pytest.mark.parametrize("kind", NOISE)
def test_noise_is_no_lettering(kind):
    for seed in range(60):
        draw = random.Random(seed)
        levels = draw.choice([5, 7, 8, 8])
        noise = bytes(frame & (1 << levels) - 1 for frame in NOISE[kind](draw))
        assert texts(Image(bytes(20) + noise + bytes(20), levels)) == [], seed


def tape_of(name, draw):
    lines = tuple(f"{10 * at} PRINT {draw.randint(0, 9999)},A" for at in range(1, 20))
    if name == "text":
        code = draw.choice(["iso-646", "ita2", "rs-244"])
        return FORMATS[name].build(TextContent(lines, line_end=b"\n", code=code))
    if name == "crunched-basic":
        return Image(bytes(50) + saved() + bytes(50))
    return FORMATS[name].build(HexProgram({0: draw.randbytes(draw.randint(1, 300))}))


@pytest.mark.parametrize("name", ["text", "crunched-basic", "intel-hex", "s-record"])
def test_tapes_of_every_format_are_no_lettering(name):
    for seed in range(40):
        image = tape_of(name, random.Random(seed))
        assert all(texts(image.turned(way)) == [] for way in Orientation), seed


def words(*values):
    """16-bit words as frames, the low half first."""
    return b"".join(value.to_bytes(2, "little") for value in values)


def absolute_blocks(draw):
    blocks = b""
    for at in range(draw.randint(1, 6)):
        data = words(*(draw.choice([0, 0, 1, 0o240, draw.randrange(65536)]) for _ in range(9)))
        block = words(1, 6 + len(data), 0o1000 + 18 * at) + data
        blocks += block + bytes([-sum(block) & 0xFF]) + bytes(draw.randint(0, 12))
    return blocks + words(1, 6, 1) + b"\xf8"


def twelve_bit_words(draw):
    pairs = b"".join(
        bytes([word >> 6, word & 0o77])
        for word in (draw.choice([0, 0, 1, 0o7402, draw.randrange(4096)]) for _ in range(60))
    )
    return b"\x80" * 30 + b"\x42\x00" + pairs + b"\x80" * 30


def checksum_blocks(draw):
    blocks = b"\x55AB0"
    for at in range(3):
        data = bytes(draw.choice([0, 0, 0, draw.randrange(256)]) for _ in range(40))
        blocks += bytes([0x3C, len(data), 40 * at, 1]) + data + bytes([sum(data) & 0xFF])
    return blocks + b"\x78\x00\x01"


BINARY = (absolute_blocks, twelve_bit_words, checksum_blocks)


@pytest.mark.parametrize("tape", BINARY, ids=lambda each: each.__name__)
def test_binary_blocks_are_no_lettering(tape):
    for seed in range(60):
        frames = bytes(30) + tape(random.Random(seed)) + bytes(30)
        assert texts(Image(frames)) == [], seed


@pytest.mark.parametrize("path", sorted(IMAGES.glob("*.bin")), ids=lambda path: path.stem)
def test_the_tapes_of_the_demonstration_bear_letters_only_where_they_were_given(path):
    decoded = decode(path.read_bytes())

    assert decoded.lettering is None


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


# Through the whole way of decoding.


def hex_tape():
    return FORMATS["intel-hex"].build(HexProgram({0x100: PROGRAM})).frames.strip(b"\0")


def text_tape():
    lines = ("10 REM LAMP PATTERN", "20 FOR I=1 TO 8", '30 PRINT TAB(I);"*"', "40 GOTO 20")
    return FORMATS["text"].build(TextContent(lines)).frames.strip(b"\0")


TAPES = {"text": text_tape, "intel-hex": hex_tape, "crunched-basic": saved}


@pytest.mark.parametrize("orientation", Orientation)
@pytest.mark.parametrize("name", TAPES)
def test_letters_at_both_ends_of_a_tape_are_told_and_change_nothing_else(name, orientation):
    letters, behind = letter_frames("DICE 3"), letter_frames("SIDE B")
    image = taped(letters, TAPES[name](), behind=behind)
    bare = taped(bytes(len(letters)), TAPES[name](), behind=bytes(len(behind)))

    decoded, plain = (decode(each.turned(orientation).frames) for each in (image, bare))

    assert (decoded.decoding.format, decoded.orientation) == (name, orientation)
    assert decoded.lettering == "DICE 3 SIDE B"
    assert plain.decoding.content == decoded.decoding.content
    assert plain.decoding.check_status is decoded.decoding.check_status
    assert (plain.leader_frames, plain.trailer_frames) == (
        decoded.leader_frames, decoded.trailer_frames,
    )  # fmt: skip
    kinds = [part.kind for part in decoded.parts]
    assert kinds.count(PartKind.LETTERING) == 2
    told = [finding for finding in decoded.decoding.findings if finding.kind == "lettering"]
    spans = {Span(finding.frame, finding.frame + finding.frames) for finding in told}
    assert {each.span for each in find_lettering(image.turned(orientation))} == spans
    assert [plain for plain in decoded.decoding.findings if plain.kind != "lettering"] == list(
        plain.decoding.findings
    )


def test_a_note_says_what_the_letters_say_and_how_sure_that_is():
    (finding,) = lettering_findings(find_lettering(taped(letter_frames("DICE 3"))))

    assert finding.kind == "lettering"
    assert finding.severity == "note"
    assert "“DICE 3”" in finding.message
    assert "99% confidence" in finding.message.replace(" %", "%")


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
