"""A thousand mixed tapes, noise among them: what they are taken for, and whether that is true."""

from functools import cache

from server.tape.findings import CheckStatus
from server.tape.image import Orientation
from tests.tape.mixed_tapes import SURE, Answer, answers

TAPES = 1000
TURNED = {
    "reversed": Orientation.REVERSED,
    "mirrored": Orientation.MIRRORED,
    "both": Orientation.REVERSED_MIRRORED,
}
WHOLE = {"clean", "lettered", *TURNED}
SUMMED = {"absolute-block", "checksum-block", "bin12", "tek-hex"}


@cache
def told() -> list[Answer]:
    return answers(TAPES)


def recognised() -> list[Answer]:
    without_sign = {"raw-binary", "unrecognised"}
    return [each for each in told() if each.tape.format not in without_sign and not each.wrong]


def test_mixed_tapes_are_told_apart_and_no_wrong_answer_is_sure():
    wrong = [each for each in told() if each.wrong]

    assert len(wrong) < TAPES * 0.005
    assert [each for each in wrong if each.confidence >= SURE] == []


def test_every_tape_is_turned_the_way_it_was_punched():
    for each in recognised():
        turned = TURNED.get(each.tape.damage, Orientation.AS_READ)

        assert (each.tape.format, each.decoded.orientation) == (each.tape.format, turned)


def test_letters_in_the_leader_are_read_on_tapes_of_every_format():
    lettered = [each for each in recognised() if each.tape.damage == "lettered"]

    assert {each.tape.format for each in lettered if not each.decoded.lettering} == set()


def test_whole_tapes_are_never_called_damaged():
    whole = [each for each in recognised() if each.tape.damage in WHOLE]
    damaged = [each for each in whole if each.decoded.decoding.check_status is CheckStatus.DAMAGED]

    assert damaged == []


def test_tapes_whose_every_block_is_summed_never_hide_damage():
    harmed = [
        each
        for each in recognised()
        if each.tape.format in SUMMED and each.tape.damage not in WHOLE
    ]

    assert {each.decoded.decoding.check_status for each in harmed} == {CheckStatus.DAMAGED}
