"""The alignment and the vote of merging beside independent libraries and a plain vote.

edlib: M. Sosic and M. Sikic, 'Edlib: a C/C++ library for fast, exact sequence alignment using
edit distance', Bioinformatics 33 (9), 2017 (title from memory). rapidfuzz: its Levenshtein
distance. Both give V. I. Levenshtein's distance (1966) exactly. The readings come from a simulated
reader of which the truth is known: bits flip, frames drop and double, each as often as stated.

What we hold: the cost of our alignment, with what lies outside of it, is never less than the
distance, equals it in nearly all cases and exceeds it by no more than one in a hundred changes.
"""

import edlib
import numpy as np
import pytest
from rapidfuzz.distance import Levenshtein

from server.tape.image import Image
from server.tape.merging import merge
from server.tape.merging.anchors import Lane
from server.tape.merging.pairing import Pairing, pair
from tests.bench.merge_truth import plain_majority, unlisted, wrong_frames
from tests.tape.merging.channel import POOR, Rates, read, readings
from tests.tape.merging.tapes import ALL, CHECKSUMMED, code, text

RATES = [
    Rates(0.0001, 0.0001, 0.0001),
    Rates(0.001, 0.001, 0.001),
    POOR,
    Rates(0.01, 0.01, 0.01),
]


def whole_cost(one: Pairing) -> int:
    """The cost, with the frames of both readings that lie outside of what they share."""
    outside = one.begins + len(one.base) - one.ends + one.before + len(one.other) - one.after
    return one.cost + outside


@pytest.mark.parametrize("rates", RATES, ids=str)
@pytest.mark.parametrize("name", ["text", "intel-hex", "absolute-block", "bin12"])
def test_two_readings_are_aligned_at_the_cost_that_edlib_and_rapidfuzz_find(
    name: str, rates: Rates
) -> None:
    tape = ALL[name](9000)
    for seed in range(3):
        one, other = readings(tape, 2, rates, seed)
        exact = edlib.align(one.frames, other.frames, task="distance")["editDistance"]
        assert Levenshtein.distance(one.frames, other.frames, score_hint=exact) == exact
        cost = whole_cost(pair(Lane(one.frames), Lane(other.frames)))
        assert exact <= cost <= exact + exact // 100 + 1


def test_short_random_readings_are_aligned_at_the_least_cost_or_nearly() -> None:
    rng = np.random.default_rng(5)
    dearer = 0
    for _ in range(400):
        size = int(rng.integers(20, 200))
        frames = rng.integers(0, int(rng.integers(2, 256)), size).astype(np.uint8)
        one = Image(frames.tobytes() + b"\x55")
        other = read(one, Rates(0.05, 0.02, 0.02), rng)
        exact = edlib.align(one.frames, other.frames, task="distance")["editDistance"]
        cost = whole_cost(pair(Lane(one.frames), Lane(other.frames)))
        assert exact <= cost <= exact + 4
        dearer += cost > exact
    assert dearer <= 40


@pytest.mark.parametrize("seed", range(3))
def test_a_lost_stretch_costs_what_edlib_says(seed: int) -> None:
    frames = code(8000, seed)
    other = read(Image(frames[:3000] + frames[3700:]), POOR, np.random.default_rng(seed)).frames
    exact = edlib.align(frames, other, task="distance")["editDistance"]
    assert whole_cost(pair(Lane(frames), Lane(other))) == exact


@pytest.mark.parametrize("name", [*sorted(CHECKSUMMED), "text"])
@pytest.mark.parametrize("rates", RATES[2:], ids=str)
def test_fewer_frames_stay_wrong_than_by_a_plain_vote_or_in_the_best_reading(
    name: str, rates: Rates
) -> None:
    tape = ALL[name](6000)
    images = readings(tape, 5, rates, 11)
    merged = merge(images)
    wrong = wrong_frames(tape, merged.image.frames)
    assert len(wrong) <= len(wrong_frames(tape, plain_majority(images)))
    assert len(wrong) * 20 < min(len(wrong_frames(tape, each.frames)) for each in images)
    assert unlisted(wrong, merged) == []


def test_the_goals_hold_on_a_tape_of_sixty_thousand_frames() -> None:
    for tape in (text(60_000), CHECKSUMMED["intel-hex"](60_000)):
        merged = merge(readings(tape, 5, POOR, 4))
        wrong = wrong_frames(tape, merged.image.frames)
        assert len(wrong) < (6 if tape.frames.count(b":") < 1000 else 1)
        assert unlisted(wrong, merged) == []
