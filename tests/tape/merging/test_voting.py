"""The vote: likelier candidates win, parity outweighs, and what is not sure stays open."""

import numpy as np
import pytest

from server.tape.errors import TapeError
from server.tape.merging.columns import BEYOND, MISSING, Columns
from server.tape.merging.judging import Verdicts, judge
from server.tape.merging.merged import SettledBy, Vote
from server.tape.merging.voting import SURE, vote

EVEN = [0x41, 0x42, 0x44, 0x47, 0x48, 0x4B, 0x4D, 0x4E, 0x50, 0xC3, 0xC5, 0xC6] * 20
BINARY = [*range(1, 240)]


def table(columns: list[tuple[int, ...]], content: list[int] = BINARY) -> Columns:
    """Readings that agree on `content`, then have these columns, then agree again."""
    count = len(columns[0])
    agreed = np.array([content] * count, np.int16)
    votes = np.hstack([agreed, np.array(columns, np.int16).T, agreed])
    return Columns(votes, np.zeros(votes.shape, np.int32))


def verdicts(
    columns: list[tuple[int, ...]],
    content: list[int] = BINARY,
    settled: dict[int, Vote] | None = None,
    levels: int = 8,
) -> Verdicts:
    under = table(columns, content)
    return judge(vote(under, levels), under.votes, settled or {}, levels)


def only(found: Verdicts) -> tuple[int, SettledBy]:
    (column,) = found.ballot.columns.tolist()
    return int(found.chosen[column]), found.settled_by[0]


def test_most_readings_win() -> None:
    assert only(verdicts([(0x41, 0x43, 0x41)])) == (0x41, SettledBy.MAJORITY)
    assert only(verdicts([(0x41, MISSING, 0x41)])) == (0x41, SettledBy.MAJORITY)
    assert only(verdicts([(MISSING, 0x01, MISSING)])) == (MISSING, SettledBy.MAJORITY)


def test_each_channel_has_a_vote_of_its_own() -> None:
    # Each reading has another channel wrong, and no two read the same frame.
    chosen, _ = only(verdicts([(0x45, 0x49, 0x51)]))
    assert chosen == 0x41


def test_two_readings_that_have_another_frame_altogether_leave_doubt() -> None:
    assert only(verdicts([(0x39, 0x39, 0x39, 0xB7, 0xB7)])) == (0x39, SettledBy.OPEN)
    assert only(verdicts([(0x39, 0x39, 0x39, 0x38, 0xB7)])) == (0x39, SettledBy.MAJORITY)


def test_one_against_one_is_open_and_parity_settles_it() -> None:
    chosen, by = only(verdicts([(0x43, 0x41)]))
    assert by is SettledBy.OPEN
    assert chosen in {0x41, 0x43}
    assert only(verdicts([(0x43, 0x41)], EVEN)) == (0x41, SettledBy.PARITY)
    odd = [each ^ 0x80 for each in EVEN]
    assert only(verdicts([(0x43, 0x41)], odd)) == (0x43, SettledBy.PARITY)


@pytest.mark.parametrize("more", [0, 1, 5])
def test_ties_teach_nothing_about_which_reading_errs(more: int) -> None:
    found = verdicts([(0x41, 0x42), *[(0x50, 0x53)] * more, (0x33, MISSING)])
    assert set(found.settled_by) == {SettledBy.OPEN}
    # Either is right, or each has another channel wrong.
    assert np.all(found.confidence[: more + 1] < 0.51)


def test_parity_outweighs_a_majority_that_breaks_it() -> None:
    chosen, by = only(verdicts([(0x43, 0x43, 0x41)], EVEN * 60))
    assert chosen == 0x41
    assert by is not SettledBy.MAJORITY


def test_of_two_frames_that_both_break_parity_neither_may_be_right() -> None:
    assert only(verdicts([(0x91, 0x31, MISSING)], [each ^ 0x80 for each in EVEN]))[0] != 0xB1
    assert only(verdicts([(0x91, 0x31)], EVEN))[0] in {0xB1, 0x11}


def test_parity_says_nothing_where_frames_obey_none_or_are_few() -> None:
    assert only(verdicts([(0x43, 0x41)]))[1] is SettledBy.OPEN
    assert only(verdicts([(0x43, 0x41)], EVEN[:6]))[1] is SettledBy.OPEN
    seven = [each & 0x7F for each in EVEN]
    assert only(verdicts([(0x43, 0x41)], seven, levels=7))[1] is SettledBy.OPEN


def test_a_reading_that_errs_often_weighs_less() -> None:
    noisy = [(0x30, 0x31, 0x30), (0x22, 0x26, 0x22), (0x51, 0x71, 0x51)] * 30
    found = verdicts([*noisy, (0x41, 0x43, BEYOND)])
    assert found.chosen[len(BINARY) + len(noisy)] == 0x41


def test_a_frame_more_that_repeats_its_neighbour_was_likelier_read_twice() -> None:
    twice = verdicts([(0xEF, 0xEF), (0x11, MISSING)], [*BINARY[:200]])
    same = verdicts([(0xEF, 0xEF), (0xEF, MISSING)], [*BINARY[:200]])
    assert twice.chosen[201] == 0x11
    assert same.chosen[201] == MISSING
    assert twice.settled_by == same.settled_by == [SettledBy.OPEN]


def test_in_a_row_of_equal_frames_one_more_is_likelier_than_elsewhere() -> None:
    rows = [*BINARY, *[0x70] * 40, *BINARY, *[0x60] * 30, 1, 2, 3]
    in_row = verdicts([(9, MISSING), (9, 9), (9, 9), (9, 9)], rows)
    alone = verdicts([(9, MISSING), (9, 9), (8, 8), (7, 7)], rows)
    at = in_row.ballot.candidates[0].tolist().index(9)
    assert in_row.ballot.logs[0, at] > alone.ballot.logs[0, at]


def test_a_reading_that_does_not_reach_so_far_has_no_vote() -> None:
    assert only(verdicts([(0x41, 0x41, BEYOND, 0x43)]))[0] == 0x41


def test_without_disputes_there_is_nothing_to_settle() -> None:
    found = verdicts([(0x41, 0x41)])
    assert found.settled_by == []
    assert found.frames() == bytes([*BINARY, 0x41, *BINARY])
    assert found.frames(5, 7) == bytes(BINARY[5:7])


def test_candidates_are_probable_together_and_holes_lie_within_the_levels() -> None:
    outcome = vote(table([(0x1F, 0x0F, 0x1E)], [each % 32 for each in BINARY]), 5)
    assert np.exp(outcome.ballot.logs).sum() == pytest.approx(1)
    assert outcome.ballot.confidence[0] >= SURE
    assert outcome.ballot.candidates.max() < 32
    assert np.all(outcome.rates.errors > 0)


def test_what_an_eye_saw_stands_above_votes() -> None:
    column = len(BINARY)
    found = verdicts([(0x41, 0x43, 0x41)], settled={column: 0x43})
    assert only(found) == (0x43, SettledBy.EYE)
    assert found.confidence.tolist() == [1.0]
    assert only(verdicts([(0x41, 0x43, 0x41)], settled={column: None}))[0] == MISSING


def test_an_eye_may_settle_what_nobody_disputed() -> None:
    found = verdicts([(0x41, 0x43, 0x41)], settled={3: 0x7F})
    assert found.ballot.columns.tolist() == [3, len(BINARY)]
    assert found.settled_by == [SettledBy.EYE, SettledBy.MAJORITY]
    assert found.chosen[3] == 0x7F
    plain = verdicts([(0x41, 0x41)], settled={3: None})
    assert plain.settled_by == [SettledBy.EYE]
    assert plain.frames() == bytes([*BINARY[:3], *BINARY[4:], 0x41, *BINARY])


def test_an_eye_is_refused_what_cannot_be() -> None:
    with pytest.raises(TapeError, match="no column 9999"):
        verdicts([(0x41, 0x43)], settled={9999: 0})
    with pytest.raises(TapeError, match="no column -1"):
        verdicts([(0x41, 0x43)], settled={-1: 0})
    with pytest.raises(TapeError, match="a 5-level tape has no frame 3F"):
        verdicts([(0x01, 0x03)], [each % 32 for each in BINARY], {0: 0x3F}, 5)
