"""Strips of tape over HTTP."""

import hashlib
import xml.etree.ElementTree as ET

import pytest

from server.tape.picture import MOST_FRAMES
from tests.api.conftest import V1
from tests.api.tapes_to_read import ORCHARD, text_tape

TAPE = text_tape(ORCHARD)
PATH = f"{V1}/images/{hashlib.sha256(TAPE).hexdigest()}/strip"


@pytest.fixture
def held(volunteer, visitor):
    volunteer.post(f"{V1}/images", files={"file": ("reel.bin", TAPE)})
    return visitor


def shown(answer):
    return ET.fromstring(answer.text)[0].text


def test_a_strip_is_a_picture_of_the_frames_asked_for(held):
    answer = held.get(f"{PATH}?start=50&frames=20")

    assert answer.headers["Content-Type"] == "image/svg+xml"
    assert shown(answer) == f"Frames 50 to 69 of {len(TAPE):,}"


@pytest.mark.parametrize(
    ("query", "first", "last"),
    [
        ("", 0, 59),
        ("start=-5&frames=3", 0, 2),
        ("start=99999", len(TAPE) - 1, len(TAPE) - 1),
        ("frames=99999", 0, min(MOST_FRAMES, len(TAPE)) - 1),
        ("start=10&frames=0", 10, 10),
        ("start=10&frames=5&as_punched=true", 10, 14),
    ],
)
def test_a_strip_is_clipped_to_what_there_is(held, query, first, last):
    assert shown(held.get(f"{PATH}?{query}")) == f"Frames {first:,} to {last:,} of {len(TAPE):,}"


def test_there_is_no_strip_of_what_is_not_held_or_from_no_number(held):
    assert held.get(f"{V1}/images/{'0' * 64}/strip").status_code == 404
    assert held.get(f"{PATH}?start=first").status_code == 422
