from collections.abc import Callable, Sequence
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rapidfuzz.distance import Levenshtein

from server.tape import edit_distance
from server.tape.basic.program import program_from_text
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.text import Text, TextContent
from server.tape.identify import Decoded, decode
from server.tape.kinship import (
    NEAR_CUTOFF,
    SAME_IMAGE,
    Kind,
    Kinship,
    Unit,
    align,
    compare,
    describe,
    fingerprints,
    normal_form,
)
from server.tape.language import line_number
from server.tape.listing import Line, Listing
from server.tape.normal_form import NormalForm, form_of
from tests.bench.programs import line_added, misread, program


def basic(lines: Sequence[str], line_end: str = "\n") -> NormalForm:
    listing = Listing(tuple(Line(line, 0, len(line), line_number(line)) for line in lines))
    return form_of("text", "basic", listing, line_end.join(lines).encode(), {})


def plain(lines: Sequence[str]) -> NormalForm:
    listing = Listing(tuple(Line(line, 0, len(line)) for line in lines))
    return form_of("text", None, listing, "\n".join(lines).encode(), {})


def frames(content: bytes) -> NormalForm:
    return form_of("unrecognised", None, Listing(), content, {})


def memory(runs: dict[int, bytes], content: bytes = b"") -> NormalForm:
    return form_of("intel-hex", "machine code", Listing(), content or repr(runs).encode(), runs)


lines = st.lists(
    st.builds(
        "{} {}".format, st.integers(1, 9), st.sampled_from(["PRINT A", "GOTO 5", "END", "A=B"])
    ),
    max_size=8,
)
forms = st.one_of(
    st.builds(basic, lines),
    st.builds(frames, st.binary(max_size=40)),
    st.builds(
        memory,
        st.dictionaries(st.integers(0, 30), st.binary(min_size=1, max_size=6), max_size=4),
    ),
)


@given(forms, forms, st.sampled_from([NEAR_CUTOFF, 0.1]))
def test_kinship_is_the_same_from_both_sides(a: NormalForm, b: NormalForm, cutoff: float) -> None:
    assert compare(a, b, cutoff=cutoff) == compare(b, a, cutoff=cutoff).turned()


@given(forms)
def test_everything_is_wholly_like_itself(form: NormalForm) -> None:
    assert compare(form, form) == Kinship(Kind.SAME_CONTENT, 1.0, 0)


@given(forms, forms)
def test_the_similarity_says_the_distance(a: NormalForm, b: NormalForm) -> None:
    found = compare(a, b, cutoff=0.0)
    assert 0 <= found.similarity <= 1
    if found.kind is Kind.NEAR and a.textual and b.textual and not found.renumbered:
        longer = max(len(a.text), len(b.text))
        assert found.distance == Levenshtein.distance(a.text, b.text)
        assert found.similarity == 1 - found.distance / longer


LAMPS = """\
10 PRINT"HARBOUR LIGHTS"
20 L=INT(9*RND(1))+1
30 INPUT"WHICH LAMP";G
40 IF G=L THEN 60
50 PRINT"DARK":GOTO 30
60 PRINT"LIT":END""".split("\n")
SEEDED = '5 INPUT"NUMBER";N:X=RND(-N)'


def as_text(lines: Sequence[str]) -> Decoded:
    typed = tuple(line.replace(";", " ; ").replace("PRINT", "?") for line in lines)
    return decode(Text().build(TextContent(typed)).frames)


def as_crunched(lines: Sequence[str]) -> Decoded:
    return decode(CrunchedBasic().build(program_from_text("\n".join(lines))).frames)


@pytest.mark.parametrize("size", [6, 200])
@pytest.mark.parametrize("record", [as_text, as_crunched])
@pytest.mark.parametrize("record_again", [as_text, as_crunched])
def test_a_program_saved_again_with_a_line_that_seeds_the_dice(
    record: Callable[[Sequence[str]], Decoded],
    record_again: Callable[[Sequence[str]], Decoded],
    size: int,
) -> None:
    lines = LAMPS if size == 6 else program(Random(8), size)
    a, b = record(lines), record_again([SEEDED, *lines])
    found = compare(normal_form(a.decoding), normal_form(b.decoding))
    assert (found.kind, found.added, found.removed, found.changed) == (Kind.NEAR, 1, 0, 0)
    assert found.distance == len(SEEDED) + 1
    assert describe(found).endswith(" %: one line added")
    rows = align(a.decoding.listing.lines, b.decoding.listing.lines, language="basic")
    assert [(row.left, row.right) for row in rows if row.kind != "equal"] == [(None, 0)]
    assert found.turned() == compare(normal_form(b.decoding), normal_form(a.decoding))
    one, other = (fingerprints(normal_form(each.decoding)) for each in (a, b))
    assert np.intersect1d(one, other).size > 20


def test_text_and_tokens_of_one_program_are_the_same_listing() -> None:
    a, b = normal_form(as_text(LAMPS).decoding), normal_form(as_crunched(LAMPS).decoding)
    assert compare(a, b).kind is Kind.SAME_LISTING


@pytest.mark.parametrize("size", [6, 200])
def test_a_line_added_makes_a_version_and_is_the_only_change(size: int) -> None:
    random = Random(size)
    for _ in range(30):
        base = program(random, size)
        found = compare(basic(base), basic(line_added(random, base)))
        assert (found.kind, found.added, found.removed, found.changed) == (Kind.NEAR, 1, 0, 0)
        assert found.similarity >= (0.65 if size == 6 else 0.98)
        assert describe(found).endswith(" %: one line added")


def test_programs_of_a_dozen_lines_that_share_only_a_vocabulary_are_unrelated() -> None:
    random = Random(12)
    programs = [basic(program(random, random.randint(12, 60))) for _ in range(60)]
    pairs = [compare(a, b) for at, a in enumerate(programs) for b in programs[at + 1 :]]
    assert {found.kind for found in pairs} == {Kind.UNRELATED}


def test_a_program_read_with_errors_all_over_is_near_and_its_lines_are_changed() -> None:
    base = program(Random(5), 100)
    found = compare(basic(base), basic(misread(Random(6), base)))
    assert found.kind is Kind.NEAR
    assert found.changed > 20
    assert found.added + found.removed < 10


def test_other_line_ends_make_the_same_listing() -> None:
    base = ["10 PRINT A", "20 END"]
    found = compare(basic(base), basic(base, "\r"))
    assert (found.kind, found.similarity, found.distance) == (Kind.SAME_LISTING, 1.0, 0)


def test_the_same_memory_in_other_records_is_the_same_listing() -> None:
    a, b = memory({0: b"ABC"}, b":03"), memory({0: b"A", 1: b"BC"}, b":01")
    assert compare(a, b).kind is Kind.SAME_LISTING


def test_patched_memory_is_told_by_address() -> None:
    code = bytes(range(100))
    patched = code[:10] + b"\xff\xff" + code[12:]
    found = compare(memory({0x100: code}), memory({0x100: patched, 0x200: b"!"}))
    assert found == Kinship(Kind.NEAR, 1 - 3 / 101, 3, 1, 0, 2, Unit.ADDRESS)
    assert describe(found) == "97.0 %: one address added, 2 addresses changed"


def test_a_byte_put_in_is_one_frame_and_not_every_address_after_it() -> None:
    code = Random(1).randbytes(300)
    found = compare(memory({0: code}), memory({0: code[:50] + b"!!" + code[50:]}))
    assert (found.unit, found.added, found.removed, found.changed) == (Unit.FRAME, 2, 0, 0)


def test_frames_lost_and_misread_are_counted() -> None:
    data = Random(2).randbytes(1000)
    read = data[:100] + data[101:500] + b"\0\0\0" + data[503:]
    found = compare(frames(data), frames(read))
    assert found.kind is Kind.NEAR
    assert (found.unit, found.added, found.removed, found.changed) == (Unit.FRAME, 0, 1, 3)


def test_a_text_is_compared_with_frames_by_its_content() -> None:
    base = program(Random(7), 20)
    found = compare(basic(base), frames("\n".join(base).encode()))
    assert (found.kind, found.unit, found.distance) == (Kind.NEAR, Unit.FRAME, 0)


@pytest.mark.parametrize(
    ("a", "b", "distance", "added", "removed"),
    [
        (basic(["10 PRINT A", "20 END"]), basic(["30 GOSUB 99"]), 17, 1, 2),
        (frames(b"\1\2\3"), frames(bytes(range(20, 60))), 40, 40, 3),
        (frames(b""), basic([]), 0, 0, 0),
        (frames(b""), frames(b"\1"), 1, 1, 0),
    ],
)
def test_what_is_unrelated_is_all_taken_out_and_all_put_in(
    a: NormalForm, b: NormalForm, distance: int, added: int, removed: int
) -> None:
    assert compare(a, b) in (
        Kinship(Kind.UNRELATED, 0.0, distance, added, removed, unit=unit) for unit in Unit
    )


def test_words_for_every_kind() -> None:
    assert describe(SAME_IMAGE) == "the same image"
    assert describe(Kinship(Kind.UNRELATED, 0.0, 9)) == "unrelated"
    near = Kinship(Kind.NEAR, 0.99996, 1, 0, 1, 2)
    assert describe(near) == "99.9 %: one line removed, 2 lines changed"
    assert describe(Kinship(Kind.NEAR, 0.98608, 1, 1)) == "98.6 %: one line added"


@pytest.fixture
def poor(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if hardly anything were affordable, so that short texts stand for long ones."""
    monkeypatch.setattr(edit_distance, "AFFORDABLE", 1 << 19)


@pytest.mark.usefixtures("poor")
def test_of_a_text_too_long_the_distance_of_lines_is_told() -> None:
    base = [f"THE LAMP IN ROOM {at} OF THE HOUSE IS LIT" for at in range(1000)]
    turned = [text[::-1] if at % 7 == 0 else text for at, text in enumerate(base)]
    found = compare(plain(base), plain([*turned[:500], *turned[520:]]))
    exact = Levenshtein.distance(plain(base).text, plain([*turned[:500], *turned[520:]]).text)
    assert found.kind is Kind.NEAR
    assert exact <= found.distance <= 1.2 * exact
    assert found.removed - found.added == 20


@pytest.mark.usefixtures("poor")
def test_of_a_text_too_long_a_small_distance_is_still_exact() -> None:
    base = [f"THE LAMP IN ROOM {at} OF THE HOUSE IS LIT" for at in range(1000)]
    found = compare(plain(base), plain([*base[:3], "ONE MORE", *base[3:]]))
    assert (found.distance, found.added) == (9, 1)


@pytest.mark.usefixtures("poor")
@pytest.mark.parametrize("share", [0.3, 0.9])
def test_texts_too_long_that_share_too_little_are_unrelated(share: float) -> None:
    random = Random(3)
    base = [f"{random.random()}" for _ in range(2000)]
    other = [text if random.random() > share else f"{random.random()}" * 3 for text in base]
    assert compare(plain(base), plain(other)).kind is Kind.UNRELATED


@pytest.mark.usefixtures("poor")
def test_of_frames_too_many_the_distance_of_runs_is_told() -> None:
    random = Random(4)
    data = random.randbytes(20_000)
    read = bytearray(data)
    for at in range(0, 20_000, 150):
        read[at] ^= 0xFF
    del read[5000:5100]
    found = compare(frames(data), frames(bytes(read)))
    exact = Levenshtein.distance(data, bytes(read))
    assert found.kind is Kind.NEAR
    assert exact <= found.distance <= 3 * exact
    assert found.removed - found.added == 100


@pytest.mark.usefixtures("poor")
@pytest.mark.parametrize("part", [5000, 18_000])
def test_frames_too_many_that_share_too_little_are_unrelated(part: int) -> None:
    random = Random(5)
    data = random.randbytes(20_000)
    other = data[: 20_000 - part] + random.randbytes(part)
    expected = Kind.NEAR if part == 5000 else Kind.UNRELATED
    assert compare(frames(data), frames(other)).kind is expected


@pytest.mark.parametrize(
    "make",
    [
        lambda random: frames(random.randbytes(10_000_000)),
        lambda random: frames(bytes(random.choices(b"\0\0\0\1\2\xff", k=2_000_000))),
        lambda random: basic([f"{at} PRINT {random.random()}" for at in range(1, 60_000)]),
        lambda random: plain([f"{random.randbytes(15).hex()}" for _ in range(100_000)]),
        lambda random: plain(["".join(random.choices("AB", k=3_000_000))]),
    ],
)
def test_unrelated_giants_are_told_apart(
    make: Callable[[Random], NormalForm],
) -> None:
    a, b = make(Random(1)), make(Random(2))
    assert compare(a, b).kind is Kind.UNRELATED
