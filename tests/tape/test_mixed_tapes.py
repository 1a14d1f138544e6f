"""A thousand mixed tapes, noise among them: what they are taken for, and how surely."""

from tests.tape.mixed_tapes import SURE, answers

TAPES = 1000


def test_mixed_tapes_are_told_apart_and_no_wrong_answer_is_sure():
    found = answers(TAPES)

    wrong = [each for each in found if each.wrong]
    assert len(wrong) < TAPES * 0.005
    assert [each for each in wrong if each.confidence >= SURE] == []
