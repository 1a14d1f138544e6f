import random

import pytest

from server.tape.codes.base import Parity
from server.tape.formats.text import Text, TextContent
from server.tape.identify import CLAIM, decode, identify
from server.tape.image import Image, Orientation

PROGRAM = (
    "10 REM LAMP PATTERN",
    "20 FOR I=1 TO 8",
    '30 PRINT TAB(I);"*"',
    "40 NEXT I",
    "50 GOTO 20",
)
LETTER = (
    "DEAR MIRA,",
    "THE READER ARRIVED LAST WEEK. WE HAVE NOT YET TRIED IT",
    "(THERE WAS TOO MUCH OIL ON THE TAPE).",
)
TELEGRAM = (
    "READER REPAIRED AND TESTED WITH THE LONG TAPE FROM THE LOFT",
    "SEND THE SECOND REEL WITH THE NEXT BOAT AND KEEP THE FIRST",
    "THE PUNCH STILL TEARS ONE FOLD IN TEN - BRING OIL",
)
FIGURES = ("1.25 3.50 7.75", "8.00 9.25 4.75", "2.50 6.25 1.00", "5.50 2.25 8.75")


@pytest.mark.parametrize("orientation", Orientation)
@pytest.mark.parametrize("parity", [Parity.EVEN, Parity.ODD, Parity.MARK, Parity.SPACE])
@pytest.mark.parametrize("lines", [PROGRAM, LETTER, FIGURES], ids=["program", "letter", "figures"])
def test_text_is_turned_whichever_way_it_lay_in_the_reader(lines, parity, orientation):
    image = Text().build(TextContent(lines, parity, leader=40, trailer=70))

    decoded = decode(image.turned(orientation).frames)

    assert (decoded.decoding.format, decoded.orientation) == ("text", orientation)
    assert decoded.decoding.parity is parity
    assert decoded.decoding.listing.text.splitlines() == list(lines)
    assert (decoded.leader_frames, decoded.trailer_frames) == (40, 70)


@pytest.mark.parametrize("orientation", Orientation)
def test_a_telegram_on_five_levels_is_turned_by_its_words(orientation):
    image = Text().build(TextContent(TELEGRAM, code="ita2"))

    decoded = decode(image.turned(orientation).frames)

    assert (decoded.decoding.format, decoded.decoding.code, decoded.orientation) == (
        "text",
        "ita2",
        orientation,
    )
    assert decoded.image.levels == 5
    assert decoded.decoding.listing.text.splitlines() == list(TELEGRAM)


def test_a_finding_on_a_turned_tape_is_placed_where_the_reader_met_it():
    frames = bytearray(Text().build(TextContent(PROGRAM)).frames)
    frames[100] ^= 0x01
    image = Image(bytes(frames)).turned(Orientation.REVERSED)

    decoded = decode(image.frames)

    frame = len(frames) - 1 - 100
    assert [finding.frame for finding in decoded.decoding.findings] == [frame]
    line = next(line for line in decoded.decoding.listing if line.key == 30)
    assert line.frame <= frame < line.frame + line.frames


def test_every_format_is_ranked_and_gives_a_reason():
    ranked = identify(Text().build(TextContent(PROGRAM)))

    assert ranked[0].format == "text"
    assert len({each.format for each in ranked}) == len(ranked)
    assert all(each.reason for each in ranked)


@pytest.mark.parametrize("size", [64, 1_000, 20_000])
def test_noise_is_honestly_unrecognised(size):
    generator = random.Random(size)
    for _ in range(30):
        decoded = decode(generator.randbytes(size))

        assert decoded.decoding.format == "unrecognised"
        assert all(each.confidence < CLAIM for each in decoded.identified)


def test_levels_given_are_kept_and_levels_guessed_may_be_eight():
    assert decode(bytes(range(1, 32)), levels=5).image.levels == 5
    assert decode(b"12345 67890\r\n67890 12345\r\n").image.levels == 8


def test_a_blank_tape_is_all_leader():
    decoded = decode(bytes(50))

    assert (decoded.decoding.format, decoded.leader_frames, decoded.trailer_frames) == (
        "unrecognised",
        50,
        0,
    )
