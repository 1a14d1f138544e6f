"""What ECMA-10 and its kin say of the tape itself, and the lengths and times that follow.

Sources, named beside each check:
    ECMA-10, data interchange on punched tape (2nd edition, July 1970), and ISO 1154: pitch of
    2.54 mm, nominal width of 25.40 mm for eight tracks; thickness about 0.1 mm (from memory).
    EIA RS-227 and a punch's service manual: 17.46 mm and 22.23 mm (from memory).
    Rates, roll size and folds: common practice, no source. The rest is arithmetic, worked by hand.
"""

from itertools import pairwise

import pytest

from server.catalog.vocabulary import WIDTH_MM
from server.tape import estimate
from server.tape.codes.base import Parity
from server.tape.codes.iso_646 import Iso646
from server.tape.findings import Finding, Severity
from server.tape.image import FRAME_PITCH_MM

TRACK_CENTRES_MM = {1: 2.34, 2: 4.88, 3: 7.42, 4: 12.50, 5: 15.04, 6: 17.58, 7: 20.12, 8: 22.66}
"""From the reference edge: the feed line lies at 9.96 mm, between tracks 3 and 4 (a punch's
service manual, from memory)."""


def test_feed_holes_are_a_tenth_of_an_inch_apart():
    """ECMA-10, ISO 1154."""
    assert FRAME_PITCH_MM == 2.54
    assert pytest.approx(10 * FRAME_PITCH_MM) == 25.4


def test_neighbouring_tracks_lie_one_pitch_apart_on_each_side_of_the_feed_line():
    """The pitch across the tape is the pitch along it."""
    centres = [*list(TRACK_CENTRES_MM.values())[:3], 9.96, *list(TRACK_CENTRES_MM.values())[3:]]
    steps = [round(b - a, 2) for a, b in pairwise(centres)]

    assert steps == [FRAME_PITCH_MM] * 8
    assert centres[-1] < WIDTH_MM[8]


@pytest.mark.parametrize(("levels", "width"), [(8, 25.40), (7, 22.23), (6, 22.23), (5, 17.46)])
def test_widths_are_those_of_the_standards(levels, width):
    """ECMA-10 for eight tracks; RS-227 and a service manual for the others, from memory."""
    assert width == WIDTH_MM[levels]


def test_parity_is_even_over_all_eight_tracks():
    """ECMA-10, ISO 1113: the eighth track makes the number of holes even."""
    for character in range(1, 127):
        (frame,) = Iso646().write(bytes([character]), Parity.EVEN)
        assert character == frame & 0x7F
        assert frame.bit_count() % 2 == 0


@pytest.mark.parametrize(
    ("frames", "millimetres"),
    [
        (0, 0.0),
        (1, 2.54),
        (10, 25.4),
        (8192, 20807.68),  # 819.2 in, 68.27 ft
        (120_000, 304_800.0),  # a roll of 1,000 ft
        (85, 215.9),  # one fold of a fan-fold pack, about 8.5 in
    ],
)
def test_lengths_follow_from_the_pitch(frames, millimetres):
    assert millimetres == pytest.approx(estimate.length_mm(frames))


@pytest.mark.parametrize(
    ("frames", "rate", "seconds"),
    [
        (8192, 10, 819.2),  # 13.65 min on a teleprinter
        (8192, 300, 27.3),
        (8192, 450, 18.2),
        (8192, 50, 163.8),
        (3000, 10, 300.0),  # five minutes on a teleprinter
        (3000, 70, 42.9),
        (120_000, 10, 12_000.0),  # 3 h 20 min
    ],
)
def test_times_follow_from_the_rate(frames, rate, seconds):
    assert seconds == pytest.approx(estimate.seconds(frames, rate), abs=0.06)


def test_the_usual_rates_are_offered():
    """Common practice, no source: teleprinter, fast punch, two fast readers."""
    assert estimate.RATES == (10, 70, 300, 450)


@pytest.mark.parametrize("rate", [0, -10])
def test_a_rate_of_nothing_is_refused(rate):
    with pytest.raises(ValueError, match="not a rate"):
        estimate.seconds(100, rate)


@pytest.mark.parametrize(
    ("length", "thickness", "diameter"),
    [
        (304_800, 0.1, 203.44),  # 1,000 ft make a roll of 8 in
        (304_800, 0.102, 205.34),
        (304_000, 0.1, 203.2),  # the other way round: 8.00 in hold 304.0 m
        (0, 0.1, 50.8),
    ],
)
def test_a_roll_is_as_wide_as_its_tape_needs(length, thickness, diameter):
    """Geometry, on the usual core of 50.8 mm (common practice, no source)."""
    assert diameter == pytest.approx(estimate.roll_diameter_mm(length, thickness, 50.8), abs=0.02)


def test_a_fan_fold_pack_has_eighty_five_frames_to_a_fold():
    """Common practice, no source: folds of about 8.5 in."""
    assert pytest.approx(estimate.folds(8192), abs=0.03) == 96.4


def test_a_finding_is_placed_along_the_tape_in_both_measures():
    finding = Finding("parity-error", Severity.DAMAGE, 8192, 1, "a hole is wrong", "read again")

    assert finding.position_mm == 20807.68
    assert finding.position_inches == 819.2
