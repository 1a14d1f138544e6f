import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.errors import BadImage
from server.tape.findings import CheckStatus
from server.tape.formats.unrecognised import CONFIDENCE, Unrecognised
from server.tape.image import Image
from server.tape.view import View

UNRECOGNISED = Unrecognised()


def test_it_claims_little_and_says_why():
    evidence = UNRECOGNISED.recognise(View(Image(bytes(20) + b"\x81\x93\x05")))
    assert (evidence.confidence, evidence.reason) == (
        CONFIDENCE,
        "any 3 frames can be shown as a dump",
    )


def test_a_blank_tape_is_called_blank():
    assert "blank" in UNRECOGNISED.recognise(View(Image(bytes(200)))).reason
    assert len(UNRECOGNISED.parse(View(Image(bytes(200)))).listing) == 0


def test_the_dump_counts_from_the_first_frame_of_data():
    decoding = UNRECOGNISED.parse(View(Image(bytes(30) + bytes(range(1, 21)) + bytes(9))))
    first, second = decoding.listing
    assert (first.key, first.frame, second.key, second.frame) == (0, 30, 16, 46)
    assert decoding.check_status is CheckStatus.NO_CHECK
    assert decoding.findings == ()


@given(st.binary(min_size=1, max_size=300))
def test_what_was_built_is_read_without_its_leader(data):
    decoding = UNRECOGNISED.parse(View(UNRECOGNISED.build(data)))
    assert decoding.content == data[decoding.data.start : decoding.data.stop]
    assert sum(line.frames for line in decoding.listing) == len(decoding.content)


def test_a_tape_of_no_frames_cannot_be_built():
    with pytest.raises(BadImage):
        UNRECOGNISED.build(b"")
