"""Crunched BASIC whose lead or end is damaged or torn off, and what else is on the tape."""

import pytest

from server.tape.findings import CheckStatus, Severity
from server.tape.image import Span
from tests.tape.basic_reading import LEADER, confidence, line_start, parse, texts, told
from tests.tape.basic_tapes import LISTED, PROGRAM, linked, saved


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


def test_a_program_longer_than_any_memory_says_so():
    chain = [(count, b"\x96" * 100) for count in range(1, 4000)]
    last = parse(saved(chain)).findings
    assert "longer than any memory" in " ".join(each.message for each in last)
    assert "second-program" in {each.kind for each in last}
