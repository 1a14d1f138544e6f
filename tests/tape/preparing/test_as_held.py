"""The held frames, punched again: the same content between a new leader and trailer."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotPrepare
from server.tape.findings import Severity
from server.tape.formats import FORMATS
from server.tape.identify import decode
from server.tape.image import Image, Orientation
from server.tape.preparing import Pattern, Preparation, prepare
from tests.tape.block_tapes import flipped
from tests.tape.preparing.tapes import LETTERINGS, LISTING, held, images, text

CLUB = sorted(Path("seed_data/images").glob("*.bin"))
FORMAT_NAMES = st.sampled_from(sorted(images()))


@settings(max_examples=60)
@given(
    FORMAT_NAMES,
    st.sampled_from(Orientation),
    st.integers(9, 200),
    st.integers(9, 200),
    LETTERINGS,
    st.booleans(),
)
def test_what_is_prepared_is_decoded_to_the_same_content(
    name, orientation, leader, trailer, lettering, rubbed_out
):
    source = held(name, orientation)
    patterns = FORMATS[name].idle
    pattern = patterns[-1] if rubbed_out else Pattern.USUAL

    prepared = prepare(
        source,
        Preparation(
            leader_frames=leader,
            trailer_frames=trailer,
            lettering=lettering,
            leader_pattern=pattern,
            trailer_pattern=pattern,
        ),
    )

    reel = prepared.reels[0]
    again = decode(reel.frames, reel.levels)
    assert again.orientation is Orientation.AS_READ
    assert again.decoding.content == source.decoding.content
    assert again.decoding.memory == source.decoding.memory
    assert again.decoding.entry_address == source.decoding.entry_address
    assert again.lettering == (lettering or None)
    assert reel.leader.stop == reel.data.start
    assert reel.data.stop == reel.trailer.start
    assert reel.trailer == (len(reel.frames) - trailer, len(reel.frames))


@pytest.mark.parametrize("path", CLUB, ids=lambda path: path.stem)
def test_every_tape_of_the_club_is_prepared_with_the_content_it_has(path):
    source = decode(path.read_bytes())
    if not source.decoding.data.frames:
        with pytest.raises(CannotPrepare, match="blank"):
            prepare(source, Preparation())
        return

    reel = prepare(source, Preparation(leader_frames=80)).reels[0]

    upright = source.image.turned(source.orientation)
    span = source.image.span_as_read(source.decoding.data, source.orientation)
    assert reel.frames[slice(*reel.data)].endswith(upright.frames[slice(*span)])
    if any(each.severity is Severity.DAMAGE for each in source.decoding.findings):
        # A trailer may complete what is torn off, so only the frames are the same.
        return
    again = decode(reel.frames, reel.levels)
    assert again.decoding.content == source.decoding.content


def test_the_held_frames_themselves_are_punched_fill_and_rub_outs_too():
    frames = bytearray(images()["text"].frames)
    at = frames.index(0x0A, 60) + 1
    frames[at:at] = b"\0\0\xff"
    source = decode(bytes(frames))

    reel = prepare(source, Preparation()).reels[0]

    assert reel.frames[slice(*reel.data)] == bytes(frames[60:-60])


def test_a_tape_read_backwards_is_prepared_the_right_way_and_that_is_said():
    prepared = prepare(held("text", Orientation.REVERSED_MIRRORED), Preparation())

    assert prepared.reels[0].frames == prepare(held("text"), Preparation()).reels[0].frames
    assert any("backwards and with its channels swapped" in each for each in prepared.changes)


@pytest.mark.parametrize("parity", [Parity.EVEN, Parity.ODD, Parity.MARK, Parity.SPACE])
@pytest.mark.parametrize("name", ["text", "intel-hex", "tek-hex"])
def test_another_parity_changes_channel_8_alone(name, parity):
    source = held(name)

    prepared = prepare(source, Preparation(parity=parity))

    reel = prepared.reels[0]
    again = decode(reel.frames)
    assert again.decoding.content == source.decoding.content
    assert again.decoding.parity is parity
    assert prepared.parity is parity
    before = images()[name].frames[60:-60].translate(bytes(range(128)) * 2)
    assert reel.frames[slice(*reel.data)].translate(bytes(range(128)) * 2) == before


def test_frames_that_break_the_parity_are_not_made_right_unasked():
    wrong = decode(flipped(images()["text"], (64, 0x01)).frames)

    with pytest.raises(CannotPrepare, match="1 frames break the parity") as refused:
        prepare(wrong, Preparation(parity=Parity.ODD))

    assert refused.value.frame == 64
    said = prepare(wrong, Preparation(parity=Parity.ODD, accept_damage=True)).changes
    assert "1 frames that broke the parity now obey it, right or not." in said
    assert prepare(wrong, Preparation()).reels[0].frames[60:-60] == wrong.image.frames[60:-60]


def test_the_frame_that_breaks_the_parity_is_named_as_the_image_was_read():
    image = flipped(images()["text"], (64, 0x01)).turned(Orientation.REVERSED)

    with pytest.raises(CannotPrepare) as refused:
        prepare(decode(image.frames), Preparation(parity=Parity.ODD))

    assert refused.value.frame == len(image) - 1 - 64


def test_a_code_that_sets_its_own_parity_takes_no_other():
    with pytest.raises(CannotPrepare, match="no odd parity"):
        prepare(held("nc-program"), Preparation(parity=Parity.ODD))


def test_bytes_have_no_parity():
    with pytest.raises(CannotPrepare, match="bytes, which have no parity"):
        prepare(held("bin12"), Preparation(parity=Parity.ODD))


@pytest.mark.parametrize("name", sorted(images()))
@pytest.mark.parametrize("pattern", [Pattern.BLANK, Pattern.RUB_OUT, Pattern.CHANNEL_8])
def test_a_trailer_that_a_loader_may_take_for_data_is_refused(name, pattern):
    source = held(name)
    how = Preparation(trailer_pattern=pattern, leader_pattern=pattern)

    if pattern in FORMATS[name].idle:
        reel = prepare(source, how).reels[0]
        assert decode(reel.frames).decoding.content == source.decoding.content
        assert len(set(reel.frames[slice(*reel.trailer)])) == 1
        return
    with pytest.raises(CannotPrepare, match="may take a leader of"):
        prepare(source, how)
    with pytest.raises(CannotPrepare, match="may take a trailer of"):
        prepare(source, Preparation(trailer_pattern=pattern))


def test_the_12_bit_machine_has_its_own_leader_unasked():
    reel = prepare(held("bin12"), Preparation(leader_frames=30, trailer_frames=20)).reels[0]

    assert set(reel.frames[slice(*reel.leader)]) == {0o200}
    assert set(reel.frames[slice(*reel.trailer)]) == {0o200}


@pytest.mark.parametrize("name", sorted(CODES))
def test_rub_outs_are_what_the_code_rubs_out_with(name):
    source = text("TIDE TABLE FOR THE QUAY", "AND THE OLD PIER", code="ita2")
    how = Preparation(code=name, trailer_pattern=Pattern.RUB_OUT)
    if name == "iso-840":
        how = replace(how, levels=8)

    reel = prepare(source, how).reels[0]

    assert set(reel.frames[slice(*reel.trailer)]) == {CODES[name].rub_out}


def test_the_run_that_leads_to_a_first_stage_is_kept():
    stage = bytes.fromhex("21C20E3100FEDB00E601C20500DB01773DC20500C30001")
    program = images()["checksum-block"].frames[60:-60]
    source = decode(bytes(40) + b"\xae" * 30 + stage + bytes(20) + program + bytes(40))
    assert source.decoding.format == "bootstrap+checksum-block"

    prepared = prepare(source, Preparation())

    reel = prepared.reels[0]
    assert reel.frames[slice(*reel.data)].startswith(b"\xae" * 30 + stage)
    assert any("30 equal frames" in each for each in prepared.changes)
    assert decode(reel.frames).decoding.content == source.decoding.content
    with pytest.raises(CannotPrepare, match="2 parts"):
        prepare(source, Preparation(format="intel-hex"))


def test_fewer_levels_than_the_frames_need_are_refused():
    with pytest.raises(CannotPrepare, match="5-level"):
        prepare(held("crunched-basic"), Preparation(levels=5))


def test_a_five_level_tape_can_be_punched_on_wider_tape():
    source = text("THE TIDE TABLE OF THE QUAY", "FOR ALL OF MAY", code="ita2")

    prepared = prepare(source, Preparation(levels=8))

    assert prepared.reels[0].levels == 8
    assert "Levels: 8 instead of 5." in prepared.changes


def test_seven_levels_leave_no_channel_for_a_parity():
    source = text(*LISTING, parity=Parity.SPACE)

    assert prepare(source, Preparation(levels=7)).reels[0].levels == 7
    with pytest.raises(CannotPrepare, match="no even parity"):
        prepare(source, Preparation(levels=7, parity=Parity.EVEN))


@pytest.mark.parametrize(
    ("how", "what"),
    [
        (Preparation(leader_frames=-1), "the leader"),
        (Preparation(trailer_frames=6001), "the trailer"),
        (Preparation(levels=9), "the levels"),
        (Preparation(record_length=0), "the record length"),
        (Preparation(load_address=-1), "the load address"),
        (Preparation(frames_per_reel=10), "a reel"),
        (Preparation(lettering="A" * 121), "121 characters"),
        (Preparation(format="papyrus"), "no format 'papyrus'"),
        (Preparation(format="unrecognised"), "no format 'unrecognised'"),
        (Preparation(code="ita9"), "not punched in ita9"),
        (Preparation(dialect="8k-8080"), "has no dialects"),
    ],
)
def test_what_is_out_of_bounds_is_refused_in_words(how, what):
    with pytest.raises(CannotPrepare, match=what) as refused:
        prepare(held("text"), how)
    assert refused.value.mend


def test_a_code_with_a_parity_of_its_own_needs_its_channel_8():
    with pytest.raises(CannotPrepare, match="needs a tape of 8 levels"):
        prepare(held("nc-program"), Preparation(levels=7))


def test_a_blank_tape_has_nothing_to_punch():
    with pytest.raises(CannotPrepare, match="blank"):
        prepare(decode(bytes(300)), Preparation())


def test_frames_of_no_known_format_are_punched_as_they_are():
    noise = bytes((7 * at * at + 13 * at + 1) % 251 for at in range(400))
    source = decode(bytes(30) + noise + bytes(30))

    reel = prepare(source, Preparation()).reels[0]

    assert Image(reel.frames).turned(Orientation.AS_READ).frames[60:-60] == noise
