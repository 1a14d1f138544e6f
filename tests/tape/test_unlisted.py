import pytest

from server.tape.formats import FORMATS
from server.tape.image import Image, Span
from server.tape.listing import MOST_LINES
from server.tape.unlisted import bare_dump
from server.tape.view import View


@pytest.mark.parametrize("name", ["unrecognised", "raw-binary"])
def test_of_frames_that_no_roll_holds_the_rest_is_kept_and_said_to_be_unlisted(name):
    frames = bytes(20) + b"\x01\x02" * 8 * MOST_LINES + bytes(range(1, 41)) + bytes(20)
    decoding = FORMATS[name].parse(View(Image(frames)))
    found = [each for each in decoding.findings if each.kind == "lines-unlisted"]
    assert len(decoding.listing) == MOST_LINES
    assert decoding.content == frames[20:-20]
    assert [(each.frame, each.frames) for each in found] == [(20 + 16 * MOST_LINES, 40)]


def test_a_dump_that_is_just_as_long_is_listed_whole():
    listing, findings = bare_dump(bytes(40), Span(5, 45))
    assert ([line.frame for line in listing], findings) == ([5, 21, 37], ())
