"""Preparing what is held: words, previews, reels as files, and who may have them."""

import json
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog import events, images, preparing
from server.catalog.errors import Invalid, NotFound, NotVerified
from server.catalog.events import EventType, ObjectKind
from server.catalog.work import VISITOR, unit_of_work
from server.tape.codes.base import Parity
from server.tape.identify import decode
from server.tape.preparing import Pattern, Preparation
from tests import factories

PREPARATIONS = st.builds(
    Preparation,
    leader_frames=st.integers(0, 6000),
    trailer_pattern=st.sampled_from(Pattern),
    lettering=st.sampled_from(["", "QUAY LIGHTS", "O'HARA & CO"]),
    levels=st.none() | st.integers(5, 8),
    code=st.none() | st.sampled_from(["ita2", "iso-646"]),
    parity=st.none() | st.sampled_from(Parity),
    format=st.none() | st.just("s-record"),
    program_name=st.none() | st.just("A"),
    record_length=st.none() | st.integers(1, 255),
    load_address=st.none() | st.integers(0, 0xFFFF),
    leave_entry_out=st.booleans(),
    accept_damage=st.booleans(),
    frames_per_reel=st.none() | st.integers(500, 9000),
)


@given(PREPARATIONS)
def test_a_preparation_comes_back_from_its_words_through_json(how):
    assert preparing.of_words(json.loads(json.dumps(preparing.as_words(how)))) == how


@pytest.mark.parametrize(
    ("typed", "address"),
    [("0100", 0x100), ("0x1F", 0x1F), ("0o200", 0o200), ("  ff ", 0xFF), ("", None), (17, 17)],
)
def test_an_address_is_read_as_people_write_it(typed, address):
    assert preparing.of_words({"load_address": typed}).load_address == address


@pytest.mark.parametrize(
    ("words", "field"),
    [
        ({"leader_frames": "many"}, "leader_frames"),
        ({"leader_frames": "7000"}, "leader_frames"),
        ({"load_address": "QUAY"}, "load_address"),
        ({"parity": "uneven"}, "parity"),
        ({"trailer_pattern": "stars"}, "trailer_pattern"),
        ({"frames_per_reel": "3"}, "frames_per_reel"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_words_that_make_no_preparation_are_refused_by_their_field(words, field):
    with pytest.raises(Invalid) as refused:
        preparing.of_words(words)
    assert set(refused.value.fields) == {field}


@pytest.fixture
def names(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        return {
            "text": factories.upload(work, factories.text_tape()).image.sha256,
            "hex": factories.upload(work, factories.hex_tape()).image.sha256,
        }


def test_a_preview_needs_nobody_to_vouch(sqlite_engine, names):
    with unit_of_work(sqlite_engine, VISITOR, writes=False) as work:
        prepared = preparing.preview(work, names["text"], Preparation(lettering="QUAY LIGHTS"))
        held = images.frames(work, names["text"])

    again = decode(prepared.reels[0].frames)
    assert again.decoding.content == decode(held).decoding.content
    assert again.lettering == "QUAY LIGHTS"


def test_what_nothing_vouches_for_is_prepared_only_when_that_is_known(sqlite_engine, names):
    with unit_of_work(sqlite_engine, VISITOR, writes=False) as work:
        with pytest.raises(NotVerified):
            preparing.prepare(work, names["text"], Preparation())
        assert preparing.prepare(work, names["text"], Preparation(), acknowledged=True).reels
        assert preparing.prepare(work, names["hex"], Preparation()).reels


def test_a_reel_as_a_file_says_what_it_is_and_is_logged_anonymously(sqlite_engine, names):
    how = Preparation(format="s-record", lettering="QUAY", frames_per_reel=500)
    with unit_of_work(sqlite_engine, VISITOR) as work:
        taken = preparing.reel(work, names["hex"], how, 1)
        whole = preparing.preview(work, names["hex"], how)

    assert taken.frames == whole.reels[0].frames
    assert taken.sha256 == whole.reels[0].image.sha256
    assert taken.file_name == f"{names['hex'][:12]}-prepared.tape"
    with unit_of_work(sqlite_engine, writes=False) as work:
        newest = events.of(work, ObjectKind.IMAGE, names["hex"])[0]
    assert (newest.type, newest.by) == (EventType.DISSEMINATION, "anybody")


def test_the_file_of_one_reel_of_several_says_which(sqlite_engine, names):
    how = Preparation(frames_per_reel=500, leader_frames=300)
    with unit_of_work(sqlite_engine, VISITOR) as work:
        reels = len(preparing.preview(work, names["hex"], how).reels)
        taken = preparing.reel(work, names["hex"], how, 2)
        with pytest.raises(NotFound, match=f"no reel {reels + 1}"):
            preparing.reel(work, names["hex"], how, reels + 1)

    assert taken.file_name.endswith(f"-prepared-2-of-{reels}.tape")


def test_an_unverified_reel_is_called_so(sqlite_engine, names):
    with unit_of_work(sqlite_engine, VISITOR) as work:
        taken = preparing.reel(work, names["text"], Preparation(), 1, acknowledged=True)

    assert "-unverified-prepared" in taken.file_name


def test_a_refusal_says_where_on_the_tape_and_by_which_field(sqlite_engine, names):
    with (
        unit_of_work(sqlite_engine, VISITOR, writes=False) as work,
        pytest.raises(Invalid) as refused,
    ):
        preparing.preview(work, names["text"], Preparation(code="ita2"))

    assert set(refused.value.fields) == {"code"}
    assert refused.value.where.startswith("frame ")
    assert refused.value.mend.endswith(".")


def test_what_is_not_held_is_not_prepared(sqlite_engine):
    with unit_of_work(sqlite_engine, VISITOR, writes=False) as work, pytest.raises(NotFound):
        preparing.preview(work, "0" * 64, Preparation())


def test_the_usual_lettering_is_title_number_and_date_as_far_as_letters_go(sqlite_engine, names):
    with factories.acting(sqlite_engine) as work:
        tape = factories.tape(work, title="Ärger mit Ebbe", accession_number="1979.4")
        factories.upload(work, factories.text_tape(), tape=tape.accession_number)
        record = images.get(work, names["text"])

        how = preparing.usual(record, date(2026, 5, 12))

        assert how == Preparation(lettering="Arger mit Ebbe 1979.4 2026-05-12")
        assert preparing.preview(work, names["text"], how).reels[0].lettering == (
            "ARGER MIT EBBE 1979.4 2026-05-12"
        )
        long = replace(record, title="THE TIDE TABLE " * 9)
        assert preparing.usual(long, date(2026, 5, 12)).lettering == (
            "THE TIDE TABLE THE TIDE TABLE THE TIDE TABLE THE 1979.4 2026-05-12"
        )


def test_the_choices_are_those_that_the_format_has(sqlite_engine, names):
    with unit_of_work(sqlite_engine, VISITOR, writes=False) as work:
        of_text = preparing.choices(images.get(work, names["text"]))
        of_hex = preparing.choices(images.get(work, names["hex"]))

    assert [name for name, _ in of_text.formats] == ["crunched-basic"]
    assert "ita2" in dict(of_text.codes)
    assert "8k-8080" in of_text.dialects
    assert "s-record" in dict(of_hex.formats)
    assert "intel-hex" not in dict(of_hex.formats)
    assert of_hex.parities == ("even", "odd", "mark", "space")
    assert not of_hex.dialects


def test_what_is_longer_than_any_tape_is_not_prepared(sqlite_engine, names, monkeypatch):
    monkeypatch.setattr(preparing, "LARGEST", 100)
    with (
        unit_of_work(sqlite_engine, VISITOR, writes=False) as work,
        pytest.raises(Invalid, match="more than ten of the longest rolls"),
    ):
        preparing.preview(work, names["text"], Preparation())
