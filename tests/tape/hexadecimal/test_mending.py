import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.hexadecimal.checksums import ByteSum
from server.tape.hexadecimal.mending import checked, mend
from server.tape.hexadecimal.records import Grammar

COLON = Grammar(mark=b":", head=1, check=ByteSum(0x00), beyond=5, least=5)
LINE = b":070100003E41D301C30001E1"
WHOLE = bytes.fromhex(LINE[1:].decode())


@given(st.integers(1, len(LINE) - 1), st.sampled_from(b"GZs!:\x7f"))
def test_one_unreadable_digit_is_told_by_the_checksum(at, bad):
    mended = mend(LINE[:at] + bytes([bad]) + LINE[at + 1 :], COLON)
    assert mended is not None
    assert (mended.data, mended.place) == (WHOLE, (at - 1) // 2)


def test_a_wrong_length_is_told_by_the_line():
    mended = mend(b":0F" + LINE[3:], COLON)
    assert mended is not None
    assert (mended.data, mended.place) == (WHOLE, 0)


@pytest.mark.parametrize(
    "line",
    [
        pytest.param(LINE, id="nothing in doubt"),
        pytest.param(LINE[:-1], id="half a byte"),
        pytest.param(b":0F01", id="too short for any record"),
        pytest.param(b":07010000ZZZZD301C30001E1", id="two bytes in doubt"),
        pytest.param(b":0F0100003E41D301C30001E2", id="length and checksum disagree"),
        pytest.param(b":070100003E4GD301C30001D1", id="the readable digit disagrees"),
        pytest.param(b":00" + b"0" * 540, id="longer than a length can say"),
    ],
)
def test_more_than_one_doubt_is_not_mended(line):
    assert mend(line, COLON) is None


@pytest.mark.parametrize(
    ("line", "found"),
    [
        (LINE, WHOLE),
        (LINE + b"99", WHOLE),
        (LINE[:-2], None),
        (LINE[:-1] + b"2", None),
        (b":", None),
        (b":07010000ZE41D301C30001E1", None),
    ],
)
def test_a_line_is_checked_as_far_as_its_length_says(line, found):
    assert checked(line, COLON) == found
