"""The tape's checksums as judge over what readings left in doubt."""

import numpy as np
import pytest

from server.tape.codes.base import Parity
from server.tape.errors import TapeError
from server.tape.formats.bin12 import Bin12
from server.tape.formats.intel_hex import IntelHex
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Image
from server.tape.merging import Merged, SettledBy, bringing_together, merge
from server.tape.merging.trying import Change, likeliest_first
from server.tape.twelve_bit.program import WordProgram
from tests.tape.block_tapes import dropped, flipped
from tests.tape.merging.channel import Rates, readings
from tests.tape.merging.tapes import CHECKSUMMED, code

HEX = IntelHex().build(HexProgram({0x100: code(600)}))
BLOCKS = CHECKSUMMED["absolute-block"](2000)


def by(merged: Merged) -> list[SettledBy]:
    return [each.settled_by for each in merged.disputes]


def test_of_two_readings_the_one_whose_record_closes_is_right() -> None:
    merged = merge([flipped(BLOCKS, (300, 2), (900, 8)), flipped(BLOCKS, (310, 4), (1500, 1))])
    assert merged.image == BLOCKS
    assert by(merged) == [SettledBy.CHECKSUM] * 4
    assert all(each.confidence > 0.99 for each in merged.disputes)


def test_a_majority_that_breaks_its_record_is_outvoted_by_the_checksum() -> None:
    wrong = flipped(BLOCKS, (700, 0x10))
    merged = merge([wrong, BLOCKS, wrong])
    assert merged.image == BLOCKS
    assert by(merged) == [SettledBy.CHECKSUM]


def test_a_frame_that_one_of_two_readings_lost_is_put_back() -> None:
    for at in (250, 800, 1700):
        merged = merge([dropped(BLOCKS, at), flipped(BLOCKS, (at + 15, 3))])
        assert merged.image == BLOCKS
        assert by(merged) == [SettledBy.CHECKSUM] * 2


def test_a_hexadecimal_record_is_closed_too_and_line_ends_are_left_to_the_vote() -> None:
    at = HEX.frames.index(b":", 300) + 12
    end = HEX.frames.index(b"\x8d", at)
    # Two channels, so that parity says nothing.
    merged = merge([flipped(HEX, (at, 3)), flipped(HEX, (at + 3, 5), (end, 0x30))])
    assert merged.image.frames[: end - 1] == HEX.frames[: end - 1]
    assert by(merged)[:2] == [SettledBy.CHECKSUM] * 2
    assert by(merged)[2] is not SettledBy.CHECKSUM


def test_parity_alone_is_no_matter_of_the_checksum() -> None:
    at = HEX.frames.index(b":", 300) + 12
    merged = merge([flipped(HEX, (at, 0x80)), HEX])
    assert merged.image == HEX
    assert by(merged) == [SettledBy.PARITY]


def test_the_first_record_and_the_last_are_closed() -> None:
    first, last = HEX.frames.index(b":") + 9, HEX.frames.rindex(b":") + 4
    merged = merge([flipped(HEX, (first, 3)), flipped(HEX, (last, 5))])
    assert merged.image == HEX
    assert by(merged) == [SettledBy.CHECKSUM] * 2


def test_a_lost_mark_between_records_is_put_back() -> None:
    at = HEX.frames.index(b":", 300)
    assert merge([dropped(HEX, at), HEX]).image == HEX


def test_combinations_that_close_as_well_leave_doubt() -> None:
    # Two changes that take each other's place in the sum: both ways round close the block.
    frames = bytearray(BLOCKS.frames)
    at = next(
        at
        for at in range(300, 1500)
        if frames[at] & 1 == 0 and frames[at + 3] & 1 and 0 not in frames[at : at + 5]
    )
    one = bytearray(frames)
    one[at] ^= 1
    one[at + 3] ^= 1
    merged = merge([BLOCKS, Image(bytes(one))])
    assert {each.frame for each in merged.open_disputes} == {at, at + 3}
    assert not merged.agreement.agrees


def test_a_record_that_either_of_two_changes_closes_stays_in_doubt() -> None:
    frames = BLOCKS.frames
    unset = next(at for at in range(700, 760) if frames[at] and not frames[at] & 0x10)
    is_set = next(at for at in range(unset + 1, 800) if frames[at] & 0x10)
    wrong, other = flipped(BLOCKS, (unset, 0x10)), flipped(BLOCKS, (is_set, 0x10))
    merged = merge([wrong, wrong, other])
    assert by(merged) == [SettledBy.OPEN] * 2
    assert all(each.confidence < 0.6 for each in merged.disputes)


def test_no_combination_that_closes_leaves_what_the_votes_say() -> None:
    wrong = flipped(BLOCKS, (700, 0x10))
    merged = merge([wrong, wrong, flipped(wrong, (705, 1))])
    assert merged.image == wrong
    assert SettledBy.CHECKSUM not in by(merged)


def test_records_without_disputes_are_not_searched() -> None:
    wrong = flipped(BLOCKS, (700, 0x10))
    assert merge([wrong, wrong]).disputes == ()


def test_a_sum_over_a_whole_program_settles_what_it_can() -> None:
    words = np.random.default_rng(4).integers(0, 4096, 500).astype(">u2").tobytes()
    tape = Bin12().build(WordProgram({0o200: words}))
    merged = merge([flipped(tape, (200, 2)), flipped(tape, (201, 0x20), (700, 1))])
    assert merged.image == tape
    assert by(merged) == [SettledBy.CHECKSUM] * 3


def test_the_work_is_bounded_and_the_most_doubtful_come_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    images = readings(BLOCKS, 3, Rates(0.01, 0, 0))
    whole = by(merge(images)).count(SettledBy.CHECKSUM)
    monkeypatch.setattr(bringing_together, "MOST_CHECKED", 12_000)
    assert 0 < by(merge(images)).count(SettledBy.CHECKSUM) < whole
    monkeypatch.setattr(bringing_together, "MOST_CHECKED", 0)
    assert by(merge(images)).count(SettledBy.CHECKSUM) == 0


def test_combinations_come_in_the_order_of_what_they_cost() -> None:
    changes = [Change(1.0, 1, 7), Change(1.5, 2, 8), Change(4.0, 1, 9)]
    found = list(likeliest_first(changes))
    costs = [sum(each.cost for each in combination) for combination in found]
    assert costs == sorted(costs) == [0, 1.0, 1.5, 2.5, 4.0, 5.5]
    assert list(likeliest_first([])) == [()]


def test_an_image_that_settling_empties_is_refused() -> None:
    image = Image(b"AB")
    with pytest.raises(TapeError):
        merge([image, image], {0: None, 1: None})


def test_what_was_chosen_against_the_votes_and_may_be_otherwise_is_open() -> None:
    # Channel 8 of a hexadecimal record is no matter of its checksum, nor here of parity.
    tape = IntelHex().build(HexProgram({0x100: code(600)}, parity=Parity.NONE))
    at = tape.frames.index(b":", 300) + 12
    wrong, other = flipped(tape, (at, 3)), flipped(tape, (at, 0x80))
    merged = merge([wrong, wrong, wrong, tape, other])
    (dispute,) = merged.disputes
    assert dispute.chosen in {tape.frames[at], other.frames[at]}
    assert dispute.settled_by is SettledBy.OPEN
    assert dispute.confidence < 0.5
