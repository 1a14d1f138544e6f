"""Several readings of one tape brought together, by a channel of which the truth is known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.tape.errors import TapeError
from server.tape.formats import FORMATS
from server.tape.image import Image, Orientation
from server.tape.merging import (
    AgreementKind,
    SettledBy,
    bringing_together,
    merge,
)
from server.tape.merging.gathering import turned_twice
from tests.bench.merge_truth import unlisted, wrong_frames
from tests.tape.merging.channel import POOR, Rates, read, readings
from tests.tape.merging.tapes import ALL, CHECKSUMMED, code, text

TAPE = text(6000)
HEX = CHECKSUMMED["intel-hex"](6000)
SHORT = CHECKSUMMED["intel-hex"](1500)
contents = st.binary(min_size=1, max_size=80).filter(lambda data: Image(data).data_span().frames)


@given(contents, st.integers(2, 20))
@settings(max_examples=40)
def test_equal_readings_give_their_image_and_no_disputes(data: bytes, count: int) -> None:
    image = Image(data)
    merged = merge([image] * count)
    turn = merged.sources[0].orientation
    assert merged.image == image.turned(turn)
    assert merged.disputes == ()
    assert merged.agreement.kind is AgreementKind.EQUAL
    assert merged.agreement.readings == tuple(range(count))
    assert merged.confidence.size == len(image)
    assert {each.errors for each in merged.sources} == {0}
    assert {each.score for each in merged.sources} == {1.0}


@given(st.permutations(range(4)), st.integers(1, 5))
@settings(max_examples=6)
def test_the_order_of_the_readings_does_not_matter(order: list[int], seed: int) -> None:
    images = readings(SHORT, 4, Rates(0.01, 0.003, 0.003), seed)
    one, other = merge(images), merge([images[at] for at in order])
    assert one.image == other.image
    assert np.array_equal(one.confidence, other.confidence)
    assert [each.column for each in one.disputes] == [each.column for each in other.disputes]
    assert [one.sources[at] for at in order] == list(other.sources)
    assert [
        replace(each, votes=tuple(each.votes[at] for at in order), sources=())
        for each in one.disputes
    ] == [replace(each, sources=()) for each in other.disputes]


@given(st.integers(1, 6), st.sampled_from(sorted(ALL)), st.integers(3, 6))
@settings(max_examples=12)
def test_few_frames_stay_wrong_and_all_of_them_are_listed(seed: int, name: str, count: int) -> None:
    tape = ALL[name](4000)
    merged = merge(readings(tape, count, Rates(0.005, 0.002, 0.002), seed))
    wrong = wrong_frames(tape, merged.image.frames)
    assert len(wrong) <= 8
    assert unlisted(wrong, merged) == []


@pytest.mark.parametrize("name", sorted(CHECKSUMMED))
def test_five_poor_readings_of_a_tape_with_checksums_give_the_tape(name: str) -> None:
    tape = ALL[name](20_000)
    merged = merge(readings(tape, 5))
    assert wrong_frames(tape, merged.image.frames) == []
    settled = [each.settled_by for each in merged.disputes]
    assert settled.count(SettledBy.CHECKSUM) > 0.75 * len(settled)
    assert merged.image.frames.strip(b"\0\x80") == tape.frames.strip(b"\0\x80")


def test_five_poor_readings_of_a_listing_leave_less_than_one_frame_in_ten_thousand() -> None:
    tape = text(60_000)
    merged = merge(readings(tape, 5, POOR, 7))
    wrong = wrong_frames(tape, merged.image.frames)
    assert len(wrong) < 6
    assert unlisted(wrong, merged) == []


@pytest.mark.parametrize("tape", [TAPE, HEX], ids=["text", "hex"])
def test_readings_may_lie_any_way_start_late_and_stop_early(tape: Image) -> None:
    whole = readings(tape, 5)
    frames = [each.frames for each in whole]
    lying = [
        Image(frames[0]).turned(Orientation.REVERSED),
        Image(frames[1][900:]),
        Image(bytes(300) + frames[2][:-700]).turned(Orientation.MIRRORED),
        Image(frames[3][:4000] + bytes(9)).turned(Orientation.REVERSED_MIRRORED),
        whole[4],
    ]
    merged = merge(lying)
    assert wrong_frames(tape, merged.image.frames) == []
    assert [each.orientation for each in merged.sources] == [
        Orientation.REVERSED,
        Orientation.AS_READ,
        Orientation.MIRRORED,
        Orientation.REVERSED_MIRRORED,
        Orientation.AS_READ,
    ]
    for source, start in zip(merged.sources[1:3], (300 + 900, 0), strict=True):
        assert source.start == pytest.approx(start, abs=5)


def test_a_dispute_names_frames_of_readings_as_they_were_read() -> None:
    images = readings(TAPE, 3)
    backwards = images[1].turned(Orientation.REVERSED)
    merged = merge([images[0], backwards, images[2]])
    told = [each for each in merged.disputes if each.sources[1] is not None]
    assert len(told) > 20
    for each in told:
        vote, place = each.votes[1], each.sources[1]
        assert place is not None
        if vote is not None:
            assert backwards.frames[place] == vote
    assert merged.sources[1].orientation is Orientation.REVERSED


def test_tapes_of_which_nothing_tells_how_they_lay_keep_the_way_of_most() -> None:
    image = Image(code(3000, 8))
    one, two, three = readings(image, 3)
    merged = merge([one.turned(Orientation.REVERSED), two, three])
    assert merged.sources[0].orientation is Orientation.REVERSED
    assert wrong_frames(image, merged.image.frames) == []


def test_leaders_of_different_length_are_no_disputes() -> None:
    content = TAPE.frames.strip(b"\0")
    images = [Image(bytes(a) + content + bytes(b)) for a, b in ((60, 10), (9, 80), (200, 0))]
    merged = merge(images)
    assert merged.disputes == ()
    assert merged.image.frames == bytes(200) + content + bytes(80)
    assert merged.agreement.readings == (0, 1, 2)


def test_frames_lost_or_doubled_within_the_leader_are_no_disputes() -> None:
    content = TAPE.frames.strip(b"\0")
    stray = bytearray(60)
    stray[20] = 4
    images = [
        Image(b"\xff\0" + bytes(58) + content),
        Image(b"\xff\0" + bytes(57) + content),
        Image(b"\xff\0" + bytes(58) + content),
    ]
    merged = merge(images)
    assert merged.disputes == ()
    flipped = merge([Image(bytes(60) + content), Image(bytes(stray) + content)] * 2)
    assert {each.frame for each in flipped.disputes} == {20}


def test_a_hole_in_a_leader_that_only_one_reading_reaches_is_open() -> None:
    content = TAPE.frames.strip(b"\0")
    leader = bytearray(90)
    leader[20] = 0x10
    merged = merge([Image(bytes(leader) + content), Image(bytes(30) + content)])
    (stranger,) = merged.disputes
    assert (stranger.frame, stranger.votes, stranger.sources) == (20, (0x10, None), (20, None))
    assert stranger.settled_by is SettledBy.OPEN
    assert merged.confidence[20] == pytest.approx(0.5)
    assert merged.confidence[100] > 0.99


def test_frames_that_one_reading_alone_has_are_less_sure() -> None:
    frames = TAPE.frames
    merged = merge([TAPE, Image(frames[2000:])])
    assert merged.disputes == ()
    assert np.all(merged.confidence[:1900] < merged.confidence[2100])
    assert merged.agreement.kind is AgreementKind.NOT
    assert "no dispute to settle" in merged.agreement.sentence


def test_settling_is_obeyed_and_moves_no_other_column() -> None:
    images = readings(TAPE, 3, Rates(0.01, 0.003, 0.003))
    first = merge(images)
    chosen = {each.column: each for each in first.disputes}
    flipped = next(each for each in first.disputes if None not in (*each.votes, each.chosen))
    lost = next(each for each in first.disputes if None in each.votes)
    settled = {flipped.column: 0x7F, lost.column: None}
    second = merge(images, settled)
    assert [each.column for each in second.disputes] == sorted(chosen)
    for each in second.disputes:
        if each.column in settled:
            assert each.settled_by is SettledBy.EYE
            assert each.chosen == settled[each.column]
            assert each.confidence == 1
        else:
            assert each.chosen == chosen[each.column].chosen
    frame = next(each.frame for each in second.disputes if each.column == flipped.column)
    assert frame is not None
    assert second.image.frames[frame] == 0x7F


def test_settling_in_a_record_leaves_the_rest_to_its_checksum() -> None:
    images = readings(HEX, 2, Rates(0.004, 0, 0))
    first = merge(images)
    doubt = next(each for each in first.disputes if each.settled_by is SettledBy.CHECKSUM)
    again = merge(images, {doubt.column: doubt.chosen})
    assert again.image == first.image
    other = next(each for each in doubt.votes if each != doubt.chosen)
    wrong = merge(images, {doubt.column: other})
    assert next(e.chosen for e in wrong.disputes if e.column == doubt.column) == other


def test_a_column_that_nobody_disputed_may_be_settled_and_is_told() -> None:
    images = [TAPE, TAPE]
    merged = merge(images, {0: 0x40, 1000: 0xFF})
    assert [(each.column, each.settled_by) for each in merged.disputes] == [
        (0, SettledBy.EYE),
        (1000, SettledBy.EYE),
    ]
    assert merged.agreement.kind is AgreementKind.NOT
    assert merged.agreement.readings == ()


def test_readings_agree_when_checksums_settle_every_dispute() -> None:
    tape = CHECKSUMMED["absolute-block"](3000)
    frames = [bytearray(tape.frames) for _ in range(2)]
    frames[0][500] ^= 4
    frames[1][1500] ^= 0x20
    merged = merge([Image(bytes(each)) for each in frames])
    assert merged.image == tape
    assert merged.agreement.kind is AgreementKind.CHECKSUM
    assert "each of the 2 disputed frames" in merged.agreement.sentence
    assert merged.agreement.agrees
    assert [each.settled_by for each in merged.disputes] == [SettledBy.CHECKSUM] * 2


def test_a_misread_leader_does_not_keep_readings_from_agreeing() -> None:
    tape = CHECKSUMMED["absolute-block"](3000)
    frames = [bytearray(tape.frames) for _ in range(3)]
    for one, at in zip(frames, (500, 1500, 30), strict=True):
        one[at] ^= 4
    frames[2][1700] ^= 8
    merged = merge([Image(bytes(each)) for each in frames])
    assert merged.image == tape
    assert [each.frame for each in merged.disputes] == [30, 500, 1500, 1700]
    assert merged.disputes[0].settled_by is SettledBy.MAJORITY
    assert merged.agreement.kind is AgreementKind.CHECKSUM
    assert "each of the 3 disputed frames" in merged.agreement.sentence


def test_readings_do_not_agree_while_doubts_are_open() -> None:
    image = Image(code(2000, 3))
    frames = bytearray(image.frames)
    frames[700] ^= 3
    merged = merge([image, Image(bytes(frames))])
    assert not merged.agreement.agrees
    assert "1 of them open" in merged.agreement.sentence
    assert len(merged.open_disputes) == 1


def test_two_equal_readings_beside_a_third_agree() -> None:
    poor = read(TAPE, POOR, np.random.default_rng(3))
    merged = merge([TAPE, poor, Image(bytes(9) + TAPE.frames)])
    assert merged.agreement.readings == (0, 2)
    assert merged.agreement.sentence.startswith("Readings 1 and 3 are equal")
    assert merged.sources[1].errors == len(wrong_frames(TAPE, poor.frames))


def test_a_source_counts_what_its_reading_has_wrong() -> None:
    frames = TAPE.frames
    at = next(at for at in range(1000, 2000) if len(set(frames[at - 2 : at + 3])) == 5)
    spoilt = bytearray(frames)
    spoilt[at + 500] ^= 1
    spoilt[at : at + 1] = spoilt[at : at + 1] * 2
    del spoilt[at + 100]
    spoilt[at + 300 : at + 300] = b"\xfe"
    merged = merge([TAPE, Image(bytes(spoilt)), TAPE])
    one = merged.sources[1]
    assert (one.flipped, one.dropped, one.doubled, one.added) == (1, 1, 1, 1)
    assert one.score == pytest.approx(1 - 4 / one.span.frames)


def test_levels_are_those_of_most_readings() -> None:
    five = Image(bytes(each % 31 + 1 for each in code(2000)), 5)
    spoilt = bytearray(five.frames)
    spoilt[900] |= 0x40
    merged = merge([five, Image.of(bytes(spoilt)), five])
    assert merged.image == five
    assert merge([Image(five.frames, 8), five]).image.levels == 8


def test_twenty_readings_are_merged() -> None:
    tape = text(2000)
    merged = merge(readings(tape, 20, Rates(0.02, 0.01, 0.01)))
    assert wrong_frames(tape, merged.image.frames) == []
    assert len(merged.sources) == 20


def test_formats_with_a_clubs_dialects_may_be_given() -> None:
    only = {name: FORMATS[name] for name in ("text", "unrecognised")}
    merged = merge(readings(HEX, 3), {}, only)
    assert SettledBy.CHECKSUM not in {each.settled_by for each in merged.disputes}


@pytest.mark.parametrize("count", [0, 1, 21])
def test_too_few_or_too_many_readings_are_refused(count: int) -> None:
    with pytest.raises(TapeError, match=f"^{count} readings cannot be merged") as told:
        merge([TAPE] * count)
    assert "2 to 20" in told.value.mend


@pytest.mark.parametrize("nothing", [bytes(50), b"\xff" * 90, bytes(9) + b"\x80" * 30])
def test_a_reading_that_holds_only_leader_is_refused(nothing: bytes) -> None:
    with pytest.raises(TapeError, match="reading 2 holds nothing but leader"):
        merge([TAPE, Image(nothing)])


def test_readings_too_long_together_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bringing_together, "MOST_FRAMES", 10_000)
    with pytest.raises(TapeError, match=r"frames together, and 10,000 is the most"):
        merge([TAPE, TAPE])


def test_readings_of_two_tapes_are_refused_by_number() -> None:
    with pytest.raises(TapeError, match="reading 3 does not fit the others: no stretch"):
        merge([*readings(TAPE, 2), HEX, *readings(TAPE, 2, POOR, 9)])


def test_turning_all_readings_turns_nothing_in_the_merge() -> None:
    images = readings(HEX, 3)
    turned = [each.turned(Orientation.REVERSED_MIRRORED) for each in images]
    one, other = merge(images), merge(turned)
    assert one.image == other.image
    assert wrong_frames(HEX, one.image.frames) == []
    assert [
        turned_twice(each.orientation, Orientation.REVERSED_MIRRORED) for each in other.sources
    ] == [each.orientation for each in one.sources]
