"""Lettering in the leader: what fits on the tape, and is read back from it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.tape.errors import CannotPrepare
from server.tape.identify import decode
from server.tape.lettering import APART, find_lettering
from server.tape.preparing import Pattern, Preparation, prepare
from server.tape.preparing.leader import legible
from tests.tape.preparing.tapes import held, images, text

WORDS = st.lists(
    st.sampled_from(["TIDE", "QUAY", "PIER", "BAKER", "1979", "REEL", "KEY 12", "F-3", "MAST/2"]),
    min_size=2,
    max_size=6,
    unique=True,
)


@settings(max_examples=50)
@given(WORDS, st.sampled_from(["text", "bin12", "intel-hex", "crunched-basic"]))
def test_lettering_is_read_back_by_the_reader_of_letters(words, name):
    reel = prepare(held(name), Preparation(lettering=" ".join(words))).reels[0]

    found = find_lettering(reel.image)

    assert [each.text for each in found] == [" ".join(words)]
    assert reel.letters == found[0].span


@pytest.mark.parametrize("levels", [5, 7, 8])
def test_letters_fit_on_a_tape_of_any_width(levels):
    source = text("THE TIDE TABLE OF THE QUAY", "FOR ALL OF MAY", code="ita2")

    reel = prepare(source, Preparation(lettering="Tide Table 12", levels=levels)).reels[0]

    assert reel.lettering == "TIDE TABLE 12"
    assert [each.text for each in find_lettering(reel.image)] == ["TIDE TABLE 12"]


def test_blank_frames_set_letters_apart_in_a_rubbed_out_leader():
    how = Preparation(leader_pattern=Pattern.RUB_OUT, lettering="TIDE TABLE")

    reel = prepare(held("text"), how).reels[0]

    assert reel.letters is not None
    start, stop = reel.letters
    assert reel.frames[start - APART : start] == bytes(APART)
    assert reel.frames[stop : stop + APART] == bytes(APART)
    assert set(reel.frames[: start - APART]) == {0xFF}


def test_a_character_without_a_letter_is_named_with_its_place():
    with pytest.raises(CannotPrepare, match=r"no letter for Ö \(character 2\), ~ \(character 5\)"):
        prepare(held("text"), Preparation(lettering="KÖLN~"))


def test_what_has_no_letter_can_be_left_out_beforehand():
    assert legible("Tide  table, Köln ~ 1979", 8) == "Tide table, Koln 1979"


def test_no_lettering_takes_no_frames():
    reel = prepare(held("text"), Preparation(lettering="  ", leader_frames=40)).reels[0]

    assert reel.leader.frames == 40
    assert reel.letters is None


def test_a_loader_that_may_take_letters_for_data_is_warned_of():
    assert any(
        "behind the lettering" in each
        for each in prepare(held("text"), Preparation(lettering="TIDE TABLE")).cautions
    )


def test_letters_that_hold_no_mark_of_the_format_need_no_warning():
    assert not prepare(held("s-record"), Preparation(lettering="TIDE TABLE")).cautions


@pytest.mark.parametrize("name", sorted(images()))
def test_the_changes_say_what_the_leader_was(name):
    changes = prepare(held(name), Preparation(leader_frames=90, lettering="TIDE TABLE")).changes

    assert any(each.startswith("Leader: 90 frames") and "60" in each for each in changes)
    assert "Lettering in the leader: TIDE TABLE." in changes


def test_the_lettering_of_the_image_gives_way_and_that_is_said():
    lettered = prepare(held("text"), Preparation(lettering="OLD QUAY")).reels[0]

    prepared = prepare(decode(lettered.frames), Preparation(lettering="NEW PIER"))

    assert "The lettering of the image, OLD QUAY, is left out." in prepared.changes
    assert decode(prepared.reels[0].frames).lettering == "NEW PIER"
