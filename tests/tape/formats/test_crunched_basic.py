"""Crunched BASIC on tape: whole, there and back, and what only looks like it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.basic import DIALECTS
from server.tape.basic.program import BasicProgram, program_from_text
from server.tape.findings import CheckStatus, Severity
from server.tape.formats.base import Loader, LoadRange
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.image import Image, Orientation, Span
from server.tape.view import View
from tests.tape.basic_reading import BASIC, LEADER, confidence, line_start, parse, texts, view
from tests.tape.basic_tapes import LISTED, PROGRAM, START, linked, programs, saved


def test_a_clean_tape_lists_as_the_interpreter_does():
    decoding = parse(bytes(LEADER) + saved() + bytes(30))
    assert decoding.listing.text == "".join(f"{line}\n" for line in LISTED)
    assert decoding.findings == ()
    assert decoding.check_status is CheckStatus.NO_CHECK
    assert (decoding.language, decoding.dialect) == ("basic", "8k-8080")
    assert decoding.loader is Loader.LANGUAGE_INTERPRETER


def test_each_line_knows_its_number_and_its_frames():
    lines = parse(bytes(LEADER) + saved() + bytes(30)).listing.lines
    assert [line.key for line in lines] == [number for number, _ in PROGRAM]
    assert [line.frame for line in lines] == [line_start(at) for at in range(len(PROGRAM))]
    assert [line.frames for line in lines] == [5 + len(text) for _, text in PROGRAM]


@pytest.mark.parametrize("leader", [b"", bytes(60), b"\x80" * 40, b"\xff" * 9 + bytes(9)])
@pytest.mark.parametrize("trailer", [b"", bytes(1), bytes(500), b"\x80" * 40, b"\xff" * 20])
def test_the_data_reach_from_the_first_d3_to_the_zero_link(leader, trailer):
    frames = leader + saved() + trailer
    assert parse(frames).data == Span(len(leader), len(leader) + len(saved()))
    assert confidence(frames) >= 0.99


def test_a_leader_of_d3_ends_in_the_lead():
    frames = b"\xd3" * 30 + saved() + bytes(9)
    assert parse(frames).data.start == 30
    assert parse(frames).findings == ()


def test_a_leader_of_d3_may_stand_after_lettering():
    frames = b"\x7f\x49\x36\0" + b"\xd3" * 30 + saved() + bytes(9)
    assert parse(frames).data.start == 34
    assert parse(frames).findings == ()


def test_lettering_may_stand_before_the_lead():
    lettering = bytes.fromhex("40 40 7F 40 40 00 7F 49 49 41 00 D3 D3 00")
    frames = bytes(20) + lettering + bytes(20) + saved() + bytes(9)
    assert parse(frames).data.start == 20 + len(lettering) + 20
    assert confidence(frames) >= 0.99
    assert texts(frames) == list(LISTED)


def test_the_load_range_follows_from_the_links():
    decoding = parse(saved(start=0x1A01))
    program = linked(PROGRAM, 0x1A01)
    assert decoding.load_ranges == (LoadRange(0x1A01, 0x1A01 + len(program) - 1),)
    assert decoding.memory == {0x1A01: program}
    assert decoding.entry_address is None


def test_no_load_range_is_told_where_the_program_does_not_fit_in_memory():
    assert parse(saved(start=0xFFF1)).load_ranges == ()
    assert texts(saved(start=0xFFF1)) == list(LISTED)


def test_saving_at_another_address_or_with_another_leader_is_the_same_content():
    here = parse(saved(start=0x2001)).content
    assert here == parse(b"\x80" * 20 + saved(start=0x6543) + bytes(9)).content
    assert here != parse(saved(name=b"B")).content
    assert here != parse(saved(PROGRAM[:-1])).content


def test_a_program_of_one_line_is_recognised_less_surely():
    frames = bytes(9) + saved(((10, b'\x96"HI"'),)) + bytes(9)
    assert 0.5 < confidence(frames) < 0.99
    assert texts(frames) == ['10 PRINT"HI"']


def test_an_empty_program_has_no_lines_and_is_no_claim():
    decoding = parse(bytes(9) + saved(()) + bytes(9))
    assert (decoding.data, decoding.listing.lines) == (Span(9, 15), ())
    assert confidence(bytes(9) + saved(()) + bytes(9)) < 0.5


@pytest.mark.parametrize(
    "orientation", [Orientation.REVERSED, Orientation.MIRRORED, Orientation.REVERSED_MIRRORED]
)
def test_a_tape_that_lies_the_wrong_way_is_hardly_claimed(orientation):
    frames = bytes(LEADER) + saved() + bytes(30)
    assert confidence(frames, orientation) <= 0.05
    turned = Image(frames).turned(orientation).frames
    assert confidence(turned, orientation) >= 0.99


@pytest.mark.parametrize("seed", range(20))
def test_noise_is_not_claimed(seed):
    noise = np.random.default_rng(seed).integers(0, 256, 50_000, dtype=np.uint8).tobytes()
    assert confidence(noise) <= 0.3
    assert confidence(b"\xd3\xd3\xd3A" + noise) <= 0.3


@pytest.mark.parametrize("frames", [b"\0" * 99, b"\xd3" * 99, b"TEXT ON TAPE\r\n" * 9, b"\xd3"])
def test_other_tapes_are_not_claimed(frames):
    assert BASIC.recognise(view(frames)) is None
    decoding = parse(frames)
    assert decoding.data == Span(len(frames), len(frames))
    assert [each.kind for each in decoding.findings] == ["record-truncated"]


def test_a_tape_of_fewer_levels_is_not_claimed():
    seven = View(Image(bytes(byte & 0x7F for byte in saved()), 7))
    assert BASIC.recognise(seven) is None
    assert BASIC.parse(seven).listing.lines == ()


def test_odd_bytes_are_shown_and_told_but_are_no_damage():
    lines = ((10, b"\xfa\xfb"), (20, b'\x96"\x96"'), (30, b"\x8e\x07"))
    decoding = parse(saved(lines))
    assert [line.text for line in decoding.listing] == [
        "10 {FA}{FB}",
        '20 PRINT"{96}"',
        "30 REM{07}",
    ]
    odd = [each for each in decoding.findings if each.kind != "dialect-uncertain"]
    assert [(each.kind, each.severity, each.frame) for each in odd] == [
        ("unknown-token", Severity.WARNING, 8),
        ("token-in-text", Severity.NOTE, 8 + 7 + 2),
        ("control-character", Severity.WARNING, 8 + 7 + 9 + 1),
    ]
    assert "FA" in odd[0].message
    assert "1 more" in odd[0].message
    assert decoding.check_status is CheckStatus.NO_CHECK


def test_findings_are_bounded():
    lines = [(count, b"\xfa") for count in range(1, 2000)]
    assert len(parse(saved(lines)).findings) < 300


@given(programs())
def test_what_is_built_is_read_back(program):
    # Statements without sense may make more of it in another dialect, so there is but one.
    basic = CrunchedBasic({program.dialect: DIALECTS[program.dialect]})
    image = basic.build(program)
    decoding = basic.parse(View(image))
    assert [line.text for line in decoding.listing] == [f"{n} {text}" for n, text in program.lines]
    assert decoding.data == Span(program.leader, len(image) - program.trailer)
    # What is drawn may well go to lines that it does not have.
    doubted = [each for each in decoding.findings if each.kind != "missing-line"]
    assert not [each for each in doubted if each.severity is not Severity.NOTE]
    elsewhere = BASIC.build(BasicProgram(program.name, program.lines, START))
    assert BASIC.parse(View(elsewhere)).content == decoding.content


def test_the_listing_of_a_tape_typed_in_again_gives_the_same_content():
    decoding = parse(saved())
    again = BASIC.build(program_from_text(decoding.listing.text))
    assert BASIC.parse(View(again)).content == decoding.content


TELLING = st.sampled_from([0, 0, 0, 1, 6, 0x20, 0xD3, 0xD3, 0x41, 0x96, 0x22])


@given(
    st.one_of(
        st.binary(min_size=1, max_size=200),
        st.lists(TELLING, min_size=1, max_size=120).map(bytes),
        st.lists(TELLING, max_size=40).map(lambda some: saved() + bytes(some)),
        st.tuples(st.integers(0, 80), st.binary(max_size=9)).map(
            lambda cut: saved()[: cut[0]] + cut[1] + saved()[cut[0] + 3 :]
        ),
    )
)
def test_any_frames_are_read_without_an_error_and_findings_lie_on_the_tape(frames):
    decoding = parse(frames)
    evidence = BASIC.recognise(view(frames))
    assert evidence is None or 0 < evidence.confidence < 1
    assert 0 <= decoding.data.start <= decoding.data.stop <= len(frames)
    for each in decoding.findings:
        assert 0 <= each.frame < each.frame + each.frames <= len(frames)
        assert each.message
        assert each.advice
    for line in decoding.listing:
        assert decoding.data.start <= line.frame
        assert line.frame + line.frames <= decoding.data.stop
