"""Crunched BASIC on tape: whole, damaged, torn, and what only looks like it."""

import time
from functools import cache

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
from tests.tape.basic_tapes import LISTED, PROGRAM, START, linked, programs, saved

BASIC = CrunchedBasic()
LEADER = 12


def view(frames, orientation=Orientation.AS_READ):
    return View(Image(frames), orientation)


def parse(frames):
    return BASIC.parse(view(frames))


def confidence(frames, orientation=Orientation.AS_READ):
    evidence = BASIC.recognise(view(frames, orientation))
    return evidence.confidence if evidence else 0.0


def texts(frames):
    return [line.text for line in parse(frames).listing]


def told(frames):
    return [(each.kind, each.frame, each.frames) for each in parse(frames).findings]


def line_start(index, leader=LEADER):
    return leader + 4 + sum(5 + len(text) for _, text in PROGRAM[:index])


# -- a whole tape


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


# -- what is not this format, or lies the wrong way


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


# -- one frame damaged: every other line survives


def damages():
    good = saved()
    for at in range(len(good)):
        for bit in range(8):
            yield at, good[:at] + bytes([good[at] ^ 1 << bit]) + good[at + 1 :]
        yield at, good[:at] + good[at + 1 :]
        yield at, good[: at + 1] + good[at:]


@pytest.mark.parametrize("trailer", [0, 40])
def test_damage_in_a_line_costs_that_line_only(trailer):
    for at, frames in damages():
        frame = LEADER + at
        hit = [line_start(k) <= frame < line_start(k + 1) for k in range(len(PROGRAM))]
        tape = bytes(LEADER) + frames + bytes(trailer)
        read = texts(tape)
        lost = [line for line, is_hit in zip(LISTED, hit, strict=True) if line not in read]
        assert lost == [] or lost == [LISTED[hit.index(True)]], at
        assert len(read) == len(LISTED), at
        assert confidence(tape) > 0.5, at


def test_one_damaged_frame_is_told_once_where_it_is():
    for at, frames in damages():
        tape = bytes(LEADER) + frames + bytes(40)
        faults = [each for each in parse(tape).findings if each.severity is Severity.DAMAGE]
        assert len(faults) <= 1, at
        if faults and len(frames) == len(saved()):
            near = faults[0].frame <= LEADER + at < faults[0].frame + faults[0].frames
            assert near or cannot_be_known(LEADER + at, faults[0]), at


def cannot_be_known(frame, finding):
    """Whether two neighbours may each be the wrong one, and the other is told."""
    if finding.kind == "line-number-order":
        return abs(finding.frame - frame) < line_start(2) - line_start(0)
    return frame == line_start(0)


def flipped(index, offset, bit=0x40):
    tape = bytearray(bytes(LEADER) + saved() + bytes(40))
    tape[line_start(index) + offset] ^= bit
    return bytes(tape)


def test_a_wrong_link_is_told_and_the_line_is_whole():
    tape = flipped(2, 1)
    assert told(tape) == [("link-mismatch", line_start(2), 2)]
    assert texts(tape) == list(LISTED)
    assert parse(tape).check_status is CheckStatus.DAMAGED
    assert parse(tape).content == parse(saved()).content
    assert parse(tape).load_ranges == ()


@pytest.mark.parametrize("index", [0, 1, len(PROGRAM) - 1])
def test_a_wrong_link_is_told_in_the_first_line_and_the_last(index):
    assert told(flipped(index, 1)) == [("link-mismatch", line_start(index), 2)]


def test_a_wrong_number_is_told_and_shown_as_read():
    tape = flipped(2, 3)
    assert told(tape) == [("line-number-order", line_start(2) + 2, 2)]
    assert texts(tape)[2] == "16414 DATAA,TO:PRINTA"


def test_a_number_that_cannot_be_typed_is_a_warning():
    lines = (*PROGRAM[:-2], (65530, b"\x80"))
    (finding,) = parse(saved(lines)).findings
    assert (finding.kind, finding.severity) == ("line-number-order", Severity.WARNING)


def test_a_wrong_line_end_is_told_and_the_next_line_is_whole():
    tape = flipped(1, 4 + len(PROGRAM[1][1]))
    assert told(tape) == [("line-damaged", line_start(2) - 1, 1)]
    assert texts(tape)[1:3] == ["20 REM FOR THE DESK@", LISTED[2]]


def test_a_blank_frame_inside_a_line_is_told_and_the_line_goes_on():
    tape = flipped(1, 8, bit=ord("R"))
    assert told(tape) == [("line-damaged", line_start(1) + 8, 1)]
    assert texts(tape)[1] == "20 REM FO{00} THE DESK"


def test_a_line_that_lost_a_frame_says_so():
    tape = bytes(LEADER) + saved() + bytes(40)
    at = line_start(1) + 10
    (finding,) = parse(tape[:at] + tape[at + 1 :]).findings
    assert finding.kind == "line-damaged"
    assert "1 frame too few" in finding.message
    assert (finding.frame, finding.frames) == (line_start(1), 5 + len(PROGRAM[1][1]) - 1)


def test_a_damaged_line_whose_number_cannot_be_believed_shows_what_is_there():
    tape = bytes(LEADER) + saved() + bytes(40)
    at = line_start(2) + 2
    lines = parse(tape[:at] + tape[at + 1 :]).listing.lines
    assert (lines[2].text, lines[2].key) == ("{00}DATAA,TO:PRINTA", None)


@pytest.mark.parametrize("index", [1, 3, len(PROGRAM) - 2])
def test_two_damaged_lines_in_a_row_stay_two_lines(index):
    tape = bytearray(flipped(index, 1))
    tape[line_start(index + 1) + 1] ^= 0x10
    assert texts(bytes(tape)) == list(LISTED)
    assert {kind for kind, *_ in told(bytes(tape))} == {"link-mismatch"}


def test_a_lost_stretch_costs_the_lines_it_touches():
    tape = bytes(LEADER) + saved() + bytes(40)
    start, stop = line_start(1) + 7, line_start(3) + 3
    read = texts(tape[:start] + tape[stop:])
    assert [line for line in LISTED if line in read] == [LISTED[0], *LISTED[4:]]


def test_a_blank_stretch_is_not_taken_for_the_end():
    tape = bytearray(bytes(LEADER) + saved() + bytes(40))
    tape[line_start(1) + 6 : line_start(2) + 8] = bytes(line_start(2) + 2 - line_start(1))
    read = texts(bytes(tape))
    assert [line for line in LISTED if line in read] == [LISTED[0], *LISTED[3:]]


def test_many_lines_can_be_lost_at_once():
    lines = tuple((10 * count, b'\x96"LINE"') for count in range(1, 200))
    tape = saved(lines)
    cut = 4 + 12 * 20 + 6
    tape = tape[:cut] + b"\x55" * 700 + tape[cut + 700 :]
    read = texts(tape)
    assert read[:20] == [f'{10 * count} PRINT"LINE"' for count in range(1, 21)]
    assert read[-119:] == [f'{10 * count} PRINT"LINE"' for count in range(81, 200)]
    assert len(read[20]) < 1500


# -- lead and end damaged


@pytest.mark.parametrize(
    ("lead", "start"),
    [
        (b"\x53\xd3\xd3A", 0),
        (b"\xd3\x53\xd3A", 0),
        (b"\xd3\xd3\x53A", 0),
        (b"\xd3\xd3A", 0),
        (b"\xd3\xd3\xd3\xd3A", 0),
        (b"\xd3A", 0),
        (b"\xd3\xd3\xd3", 0),
        (b"\xd3\xd3\xd3AA", 0),
        (b"\xd3\xd3\xd3\x01", 3),
        (b"\xd3\xd3\xd3\xd3", 0),
    ],
)
def test_a_damaged_lead_is_told_and_every_line_is_read(lead, start):
    tape = bytes(LEADER) + lead + linked(PROGRAM) + bytes(9)
    assert texts(tape) == list(LISTED)
    assert [(kind, frame) for kind, frame, _ in told(tape)] == [("lead-damaged", LEADER + start)]
    assert parse(tape).data.start == LEADER
    assert confidence(tape) > 0.5


def test_a_damaged_lead_does_not_change_the_content():
    tape = b"\xd3\x53\xd3A" + linked(PROGRAM)
    assert parse(tape).content == parse(saved()).content


def test_lead_and_first_line_may_both_be_damaged():
    frames = bytearray(b"\xd3\xd3\xd3A" + linked(PROGRAM))
    frames[5] ^= 0x40
    assert texts(bytes(frames)) == list(LISTED)
    assert told(bytes(frames)) == [("link-mismatch", 4, 2)]
    del frames[0]
    assert texts(bytes(frames))[1:] == list(LISTED[1:])


def test_where_the_head_is_torn_off_what_is_left_is_read():
    for cut in range(1, line_start(4, 0)):
        tape = saved()[cut:] + bytes(30)
        whole = [line for at, line in enumerate(LISTED) if line_start(at, 0) >= cut]
        assert [line for line in texts(tape) if line in LISTED] == whole, cut
        assert confidence(tape) > 0.5, cut
        assert confidence(tape) < 0.99, cut


def test_a_program_without_a_lead_may_begin_at_address_0():
    tape = linked(PROGRAM, 0) + bytes(30)
    assert texts(tape) == list(LISTED)
    assert told(tape) == [("record-truncated", 0, 1)]


def test_a_torn_head_is_told_and_the_rest_of_its_line_is_shown():
    tape = saved()[line_start(1, 0) + 8 :] + bytes(30)
    assert told(tape)[0] == ("record-truncated", 0, line_start(2, 0) - line_start(1, 0) - 8)
    assert parse(tape).listing.lines[0].text == "R THE DESK"
    assert parse(tape).listing.lines[0].key is None


@pytest.mark.parametrize("trailer", [0, 40])
def test_where_the_end_is_torn_off_the_lines_before_are_read(trailer):
    for cut in range(line_start(2, 0), len(saved())):
        tape = saved()[:cut] + bytes(trailer)
        whole = [line for at, line in enumerate(LISTED) if line_start(at + 1, 0) <= cut]
        read = texts(tape)
        assert read[: len(whole)] == whole, cut
        assert len(read) <= len(whole) + 1, cut
        # Blank tape right after a line looks like the zero link that ends a program.
        unseen = trailer and any(cut - line_start(at, 0) in (-1, 0) for at in range(7))
        if not unseen and cut < len(saved()) - 2:
            assert parse(tape).check_status is CheckStatus.DAMAGED, cut


def test_a_tape_that_stops_in_a_line_says_that_more_is_missing():
    tape = saved()[: line_start(4, 0) + 6] + bytes(40)
    ((kind, frame, _),) = told(saved()[: line_start(3, 0) + 10] + bytes(40))
    assert (kind, frame) == ("record-truncated", line_start(3, 0))
    assert told(tape)[-1][0] in ("record-truncated", "line-damaged")


@pytest.mark.parametrize("at", [0, 1])
def test_a_zero_link_with_a_hole_too_many_is_told(at):
    tape = bytearray(saved() + bytes(30))
    tape[len(saved()) - 2 + at] = 0x10
    assert told(bytes(tape)) == [("link-mismatch", len(saved()) - 2, 2)]
    assert texts(bytes(tape)) == list(LISTED)


def test_a_link_that_became_zero_does_not_end_the_program():
    tape = bytearray(bytes(LEADER) + saved() + bytes(40))
    tape[line_start(3) : line_start(3) + 2] = b"\0\0"
    assert texts(bytes(tape)) == list(LISTED)
    assert told(bytes(tape)) == [("link-mismatch", line_start(3), 2)]


# -- what else is on the tape


def test_a_second_program_is_not_swallowed_silently():
    second = saved(((5, b"\x80"), (6, b"\x80")), name=b"B", start=0x3001)
    tape = saved() + bytes(60) + second + bytes(60)
    assert texts(tape) == list(LISTED)
    assert told(tape) == [("second-program", len(saved()) + 60, len(second) - 3)]
    assert parse(tape).data == Span(0, len(saved()))


def test_a_second_program_without_a_lead_is_told_too():
    tape = saved() + bytes(60) + linked(PROGRAM, 0x3001)
    assert [kind for kind, *_ in told(tape)] == ["second-program"]


def test_a_second_program_is_told_where_the_first_has_lost_its_end():
    broken = saved()[: line_start(4, 0) + 6]
    second = saved(PROGRAM, name=b"B", start=0x3001)
    tape = broken + second + bytes(30)
    assert texts(tape)[:4] == list(LISTED[:4])
    assert len(texts(tape)) <= 5
    assert ("second-program", len(broken)) in [(kind, at) for kind, at, _ in told(tape)]


def test_other_frames_after_the_end_are_a_note():
    tape = saved() + bytes(60) + b"\x7f\x49\x36" + bytes(60)
    (finding,) = parse(tape).findings
    assert (finding.kind, finding.severity) == ("frames-after-end", Severity.NOTE)
    assert (finding.frame, finding.frames) == (len(saved()) + 60, 3)
    assert parse(tape).check_status is CheckStatus.NO_CHECK


# -- odd bytes in sound lines


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


# -- there and back


@given(programs())
def test_what_is_built_is_read_back(program):
    # Statements without sense may make more of it in another dialect, so there is but one.
    basic = CrunchedBasic({program.dialect: DIALECTS[program.dialect]})
    image = basic.build(program)
    decoding = basic.parse(View(image))
    assert [line.text for line in decoding.listing] == [f"{n} {text}" for n, text in program.lines]
    assert decoding.data == Span(program.leader, len(image) - program.trailer)
    assert not [each for each in decoding.findings if each.severity is not Severity.NOTE]
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


# -- bounded work, whatever is on the tape


SIZE = 10_000_000


def noise():
    return np.random.default_rng(7).bytes(SIZE)


def links_that_jump():
    records = np.frombuffer(noise(), np.uint8).copy()
    records[3::6] = records[5::6] = 0
    return b"\xd3\xd3\xd3A" + records.tobytes()


def much_blank():
    some = np.array([0, 0, 0, 1, 2, 7, 0xD3], np.uint8)
    return np.random.default_rng(7).choice(some, SIZE).tobytes()


@cache
def endless_program():
    return saved([(count % 65530, b"\xff") for count in range(1, 400_000)])


def endless_and_damaged():
    frames = np.frombuffer(endless_program(), np.uint8).copy()
    frames[np.random.default_rng(7).integers(0, frames.size, frames.size // 20)] ^= 0x10
    return frames.tobytes()


HOSTILE = {
    "blank": lambda: bytes(SIZE),
    "all D3": lambda: b"\xd3" * SIZE,
    "noise": noise,
    "a lead, then noise": lambda: b"\xd3\xd3\xd3A" + noise(),
    "leads only": lambda: b"\xd3\xd3\xd3A" * (SIZE // 4),
    "halves of leads": lambda: b"\xd3\xd3A\0" * (SIZE // 4),
    "links that jump": links_that_jump,
    "much blank": much_blank,
    "an endless program": endless_program,
    "an endless program, damaged": endless_and_damaged,
    "an endless program without a head": lambda: endless_program()[9:],
    "a line without an end": lambda: b"\xd3\xd3\xd3A\x01\x20\x0a\x00" + b"\x96" * SIZE,
}


@pytest.mark.parametrize("hostile", HOSTILE.values(), ids=HOSTILE.keys())
def test_ten_million_hostile_frames_take_little_time(hostile):
    tape = view(hostile())
    start = time.process_time()
    BASIC.recognise(tape)
    decoding = BASIC.parse(tape)
    assert time.process_time() - start < 2
    assert len(decoding.findings) < 2000


def test_a_program_longer_than_any_memory_says_so():
    chain = [(count, b"\x96" * 100) for count in range(1, 4000)]
    last = parse(saved(chain)).findings
    assert "longer than any memory" in " ".join(each.message for each in last)
    assert "second-program" in {each.kind for each in last}
