"""Content over several reels: none too full, lettered in their order, and together the same."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.tape.basic.program import program_from_text
from server.tape.errors import CannotPrepare
from server.tape.formats import FORMATS
from server.tape.formats.nc_program import NcContent
from server.tape.formats.text import TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Image
from server.tape.material import Kind, Material, joined
from server.tape.preparing import Preparation, prepare
from server.tape.twelve_bit.program import WordProgram
from server.tape.view import View
from tests.tape.preparing.tapes import BLOCKS, LOADED, held

LONG = {0x0100: bytes((at * 7 + at // 256) % 256 for at in range(1500)), 0x2000: b"QUAY" * 40}
LINES = tuple(
    f"{at} PRINT {at * 3}; TIDE NUMBER {at % 17} OF THE YEAR" for at in range(10, 900, 10)
)


def long(name, entry=0x0100):
    hexadecimal = decode(FORMATS["intel-hex"].build(HexProgram(LONG, entry)).frames)
    return decode(prepare(hexadecimal, Preparation(format=name)).reels[0].frames)


@pytest.mark.parametrize("name", LOADED)
@pytest.mark.parametrize("most", [900, 1500])
def test_each_reel_loads_its_own_part_and_the_last_alone_starts_the_program(name, most):
    source = long(name)

    prepared = prepare(source, Preparation(lettering="TIDES", frames_per_reel=most))

    count = len(prepared.reels)
    assert count > 1
    decoded = [decode(reel.frames) for reel in prepared.reels]
    assert all(each.decoding.format == name for each in decoded)
    loaded = [Material(Kind.MEMORY, each.decoding.memory) for each in decoded]
    assert joined(loaded).memory == LONG
    assert [each.decoding.entry_address for each in decoded] == [None] * (count - 1) + [0x0100]
    for number, (reel, each) in enumerate(zip(prepared.reels, decoded, strict=True), 1):
        assert reel.number == number
        assert len(reel.frames) <= most
        assert each.lettering == reel.lettering == f"TIDES {number} OF {count}"
    assert f"{count} reels instead of one." in prepared.changes
    assert any("on its own" in each for each in prepared.cautions)


def test_reels_are_as_full_as_records_allow():
    prepared = prepare(long("s-record"), Preparation(frames_per_reel=1200))

    record = 4 + 2 * (2 + 16 + 1) + 2
    for reel in prepared.reels[:-1]:
        assert 1200 - len(reel.frames) < 2 * record + 30


@settings(max_examples=25)
@given(st.integers(500, 3000), st.sampled_from(["iso-646", "ita2"]))
def test_text_is_divided_between_lines(most, code):
    lines = tuple(line.replace(";", "") for line in LINES)
    source = decode(FORMATS["text"].build(TextContent(lines)).frames)

    prepared = prepare(source, Preparation(code=code, frames_per_reel=most, lettering="TIDE"))

    said = [FORMATS["text"].parse(_view(reel)).content.decode("ascii") for reel in prepared.reels]
    assert "\n".join(said).split("\n") == [*lines]
    assert all(len(reel.frames) <= most for reel in prepared.reels)


def _view(reel):
    return View(Image(reel.frames[reel.data.start :], reel.levels))


def test_ten_reels_and_more_leave_room_for_their_longer_lettering():
    source = decode(FORMATS["text"].build(TextContent(LINES)).frames)

    prepared = prepare(source, Preparation(lettering="TIDES", frames_per_reel=620))

    count = len(prepared.reels)
    assert count > 9
    assert prepared.reels[-1].lettering == f"TIDES {count} OF {count}"
    assert max(len(reel.frames) for reel in prepared.reels) <= 620


def test_parts_are_lettered_even_where_there_is_no_other_lettering():
    source = decode(FORMATS["text"].build(TextContent(LINES)).frames)

    reels = prepare(source, Preparation(frames_per_reel=2500)).reels

    assert reels[0].lettering == f"1 OF {len(reels)}"
    assert decode(reels[0].frames).lettering == reels[0].lettering


def test_a_tape_that_fits_on_one_reel_is_not_written_anew():
    source = held("text")

    prepared = prepare(source, Preparation(frames_per_reel=2000))

    assert prepared.reels[0].frames == prepare(source, Preparation()).reels[0].frames


def test_words_of_the_12_bit_machine_are_divided():
    source = held("bin12")
    words = {0o200: bytes.fromhex("0123") * 500}
    long_tape = decode(FORMATS["bin12"].build(WordProgram(words)).frames)
    assert source.decoding.format == long_tape.decoding.format

    reels = prepare(long_tape, Preparation(frames_per_reel=600)).reels

    parts = [FORMATS["bin12"].parse(_view(reel)) for reel in reels]
    assert joined([Material(Kind.WORDS, each.memory) for each in parts]).memory == words


def test_a_numerical_control_program_is_divided_between_blocks():
    blocks = (*BLOCKS[:-1], *(f"N{at} G01 X{at}" for at in range(50, 400, 10)), BLOCKS[-1])
    source = decode(FORMATS["nc-program"].build(NcContent(blocks)).frames)

    prepared = prepare(source, Preparation(frames_per_reel=500))

    said = "".join(
        bytes(frame & 0x7F for frame in reel.frames[slice(*reel.data)]).decode()
        for reel in prepared.reels
    )
    assert said.split("\n")[:-1] == [*blocks]


def test_a_crunched_program_must_be_on_one_reel():
    program = program_from_text("\n".join(LINES))
    source = decode(FORMATS["crunched-basic"].build(program).frames)

    with pytest.raises(CannotPrepare, match="blank tape ends it") as refused:
        prepare(source, Preparation(frames_per_reel=1000))
    assert "as text" in refused.value.mend


def test_frames_without_a_format_are_cut_where_they_are_no_leader():
    noise = bytes(1 + (7 * at * at + 13 * at) % 251 for at in range(2000))
    source = decode(bytes(30) + noise + bytes(30))
    assert source.decoding.format == "unrecognised"

    prepared = prepare(source, Preparation(frames_per_reel=700))

    assert b"".join(reel.frames[slice(*reel.data)] for reel in prepared.reels) == noise
    assert any("nothing is known" in each for each in prepared.cautions)


def test_frames_that_are_all_alike_are_cut_all_the_same():
    data = b"\x11" + bytes(1500) + b"\x12\x13\x11\x12"
    source = decode(bytes(30) + data + bytes(30))
    assert source.decoding.format == "unrecognised"

    reels = prepare(source, Preparation(frames_per_reel=700)).reels

    assert b"".join(reel.frames[slice(*reel.data)] for reel in reels) == data


@pytest.mark.parametrize("name", ["intel-hex", "text"])
def test_no_room_for_one_record_is_refused(name):
    how = Preparation(frames_per_reel=500, leader_frames=450, trailer_frames=40)

    with pytest.raises(CannotPrepare, match="a line or record takes"):
        prepare(held(name), how)


def test_reels_beyond_counting_are_refused():
    lines = tuple(f"{at} PRINT {at}" for at in range(1, 6000))
    source = decode(FORMATS["text"].build(TextContent(lines)).frames)

    with pytest.raises(CannotPrepare, match="over 99 reels"):
        prepare(source, Preparation(frames_per_reel=500))


def test_no_room_for_any_frame_is_refused():
    noise = bytes(1 + (7 * at * at + 13 * at) % 251 for at in range(900))
    source = decode(bytes(30) + noise + bytes(30))

    with pytest.raises(CannotPrepare, match="would take over 99 reels, with 0 on each"):
        prepare(source, Preparation(frames_per_reel=500, leader_frames=500))


def test_memory_that_goes_bare_is_cut_as_frames():
    data = bytes(1 + (7 * at * at + 13 * at) % 251 for at in range(1500))
    source = decode(FORMATS["intel-hex"].build(HexProgram({0x0100: data})).frames)

    prepared = prepare(source, Preparation(format="raw-binary", frames_per_reel=700))

    assert b"".join(reel.frames[slice(*reel.data)] for reel in prepared.reels) == data
