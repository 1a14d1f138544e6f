"""Text in another code: the same text, or a refusal that names the characters and their places."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotPrepare
from server.tape.formats import FORMATS
from server.tape.formats.nc_program import NcContent
from server.tape.identify import decode
from server.tape.image import Orientation
from server.tape.preparing import Preparation, prepare
from server.tape.preparing.characters import has_one_case, repertoire
from tests.tape.preparing.tapes import BLOCKS, LISTING, held, text

PROSE = ("THE TIDE TABLE OF THE QUAY FOR MAY", "HIGH WATER AT NOON AND AT MIDNIGHT", "ALL WELL")


def characters(reel, code):
    return CODES[code].read(reel.image.array, reel.levels).text.decode("ascii")


@settings(max_examples=50)
@given(
    st.lists(
        st.text(st.sampled_from("ABCDEFGHIJKLMNOPQRSTUVWXYZ 0123456789-:()+?.,/="), max_size=30),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from(["ita2", "ita2-us", "iso-646"]),
)
def test_text_of_capitals_is_the_same_in_every_code_that_has_them(lines, code):
    source = text(*PROSE, *lines)
    if source.decoding.format != "text":
        return
    if not set("".join(lines)) <= repertoire(code):
        with pytest.raises(CannotPrepare, match="has no"):
            prepare(source, Preparation(code=code))
        return

    reel = prepare(source, Preparation(code=code)).reels[0]

    assert reel.levels == max(CODES[code].levels)
    said = characters(reel, code).replace("\r\n", "\n").rstrip("\n").split("\n")
    assert said == source.decoding.content.decode("ascii").split("\n")


@pytest.mark.parametrize("code", ["ita2", "rs-244", "iso-840", "iso-646"])
def test_five_level_text_goes_into_every_code_and_back(code):
    source = text(*PROSE, code="ita2")
    assert source.decoding.code == "ita2"

    there = prepare(source, Preparation(code=code)).reels[0]
    assert characters(there, code).upper().split() == " ".join(PROSE).split()

    again = decode(there.frames, there.levels)
    back = prepare(again, Preparation(code="ita2")).reels[0]
    assert decode(back.frames, back.levels).decoding.content == source.decoding.content


@pytest.mark.parametrize("orientation", Orientation)
def test_a_refusal_names_each_character_with_line_frame_and_distance(orientation):
    lines = (*PROSE, 'NAMED "ORRISBY" AT 5; YES')
    image = text(*lines).image.turned(orientation)
    source = decode(image.frames)

    with pytest.raises(CannotPrepare) as refused:
        prepare(source, Preparation(code="ita2"))

    assert 'ITA2 (five levels) has no " ;' in refused.value.what
    at = text(*lines).image.frames.index(0x22)
    if orientation.runs_backwards:
        at = len(image) - 1 - at
    assert f"line 4 (frame {at} ({at * 2.54:.2f} mm" in refused.value.what
    assert refused.value.frame is not None


def test_small_letters_are_not_made_capitals():
    with pytest.raises(CannotPrepare, match="one case of letters, and no a b d"):
        prepare(text("The Tide Table", *PROSE), Preparation(code="ita2"))


def test_a_refusal_counts_the_places_that_it_does_not_name():
    with pytest.raises(CannotPrepare, match="and 5 more places"):
        prepare(text(*PROSE, "ABC;;;;;;;;DEF"), Preparation(code="ita2"))


def test_what_crunched_lines_cannot_be_typed_in_is_named_by_their_line():
    with pytest.raises(CannotPrepare, match=r'no " \*: " in line 1 \(frame 6'):
        prepare(held("crunched-basic"), Preparation(format="text", code="ita2"))


@pytest.mark.parametrize(("code", "into"), [("iso-840", "rs-244"), ("rs-244", "iso-840")])
def test_a_numerical_control_program_goes_between_its_codes(code, into):
    source = decode(FORMATS["nc-program"].build(NcContent(BLOCKS, code)).frames)
    assert source.decoding.code == code

    prepared = prepare(source, Preparation(code=into))

    again = decode(prepared.reels[0].frames).decoding
    assert (again.format, again.code) == ("nc-program", into)
    assert again.content == source.decoding.content
    assert prepared.parity is CODES[into].parities[0]


def test_a_character_that_numerical_control_lacks_is_named():
    with pytest.raises(CannotPrepare, match=r"ISO 840.* has no "):
        prepare(held("text"), Preparation(code="iso-840"))


def test_a_numerical_control_program_is_text_as_well():
    prepared = prepare(held("nc-program"), Preparation(format="text", code="iso-646"))

    said = characters(prepared.reels[0], "iso-646").split("\r\n")[:-1]
    assert said == [*BLOCKS]


def test_one_case_of_letters_is_enough_for_text_that_has_one():
    prepared = prepare(text(*PROSE), Preparation(code="rs-244"))

    assert any("has one case of letters" in each for each in prepared.changes)
    assert characters(prepared.reels[0], "rs-244").split("\n")[:-1] == [
        line.lower() for line in PROSE
    ]


@pytest.mark.parametrize(
    ("code", "one"),
    [("iso-646", False), ("ita2", True), ("ita2-us", True), ("rs-244", True), ("iso-840", True)],
)
def test_which_codes_have_one_case_of_letters(code, one):
    assert has_one_case(code) is one


def test_each_parity_of_a_code_can_be_asked_for_in_a_new_format():
    prepared = prepare(held("text"), Preparation(code="iso-646", parity=Parity.MARK))

    assert decode(prepared.reels[0].frames).decoding.parity is Parity.MARK
    assert decode(prepared.reels[0].frames).decoding.content.decode() == "\n".join(LISTING)
