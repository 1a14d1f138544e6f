"""A comparison in sentences, and as JSON keeps it."""

import json

import pytest

from server.catalog import read_back_words
from server.catalog.read_back_words import as_words, of_words, sentences
from server.tape.image import Image, Orientation, Span
from server.tape.read_back import Kind, Place, compare
from tests import factories

LEADER = 60
FRAMES = factories.text_tape()
TAPE = Image(FRAMES, 8)
DATA = Span(LEADER, len(FRAMES) - LEADER)


def against(read):
    return compare(TAPE, DATA, read)


@pytest.mark.parametrize(
    "read",
    [
        FRAMES,
        FRAMES[::-1],
        FRAMES[30:],
        factories.damaged(FRAMES, 90),
        FRAMES[:80] + FRAMES[85:],
        FRAMES[:80] + b"\x99\x98" + FRAMES[80:],
    ],
)
def test_a_comparison_outlives_json(read):
    found = against(read)

    assert of_words(json.loads(json.dumps(as_words(found)))) == found


def test_sentences_say_how_much_was_read_and_how_it_lay():
    assert sentences(against(FRAMES)) == (
        f"{len(FRAMES):,} frames were compared, and all are as prepared.",
    )
    assert "Of the leader, 20 of 60 frames were read." in sentences(against(FRAMES[40:]))
    assert "25 frames of idle tape were read beyond the trailer." in sentences(
        against(FRAMES + bytes(25))
    )
    turned = TAPE.turned(Orientation.REVERSED_MIRRORED).frames
    assert "The tape was read from its end and upside down." in sentences(against(turned))


def test_sentences_say_what_differs_and_in_which_channel():
    one = sentences(against(factories.damaged(FRAMES, 90, channel=3)))
    dead = sentences(against(bytes(each & ~4 for each in FRAMES)))

    assert "1 frame differs, in 1 place." in one[0]
    assert one[-1].startswith("Channel 3 ")
    assert dead[-1].startswith("Channel 3 lacks a hole in ")


def test_another_tape_is_asked_about():
    long = Image(bytes(20) + b"AB" * 90_000 + bytes(20), 8)
    (first, *_) = sentences(compare(long, Span(20, 180_020), b"\x0e\x19\x0f" * 60_000))

    assert "is it this tape?" in first


def test_a_place_is_told_with_its_distance():
    told = [
        read_back_words.place_in_words(Place(kind, 100, 100, frames, b"", b""))
        for kind, frames in ((Kind.CHANGED, 1), (Kind.MISSING, 3), (Kind.EXTRA, 2))
    ]

    assert told == [
        "1 frame changed at frame 100 (254.00 mm)",
        "3 frames missing at frame 100 (254.00 mm)",
        "2 frames too many before frame 100",
    ]
