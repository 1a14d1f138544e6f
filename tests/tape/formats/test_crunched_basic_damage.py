"""Crunched BASIC with damaged lines: every other line survives, and each fault is told."""

import pytest

from server.tape.findings import CheckStatus, Severity
from tests.tape.basic_reading import LEADER, confidence, line_start, parse, texts, told
from tests.tape.basic_tapes import LISTED, PROGRAM, saved


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
    lines = (*PROGRAM[:-1], (65530, b"\x80"))
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
