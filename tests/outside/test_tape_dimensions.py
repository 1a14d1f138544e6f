"""The picture of a tape against the figures of the standards, in millimetres.

Sources, named beside each figure:
    ECMA-10, data interchange on punched tape (2nd edition, July 1970; catalogue page seen), and
    ISO 1154:1975, dimensions and location of feed holes and code holes (catalogue page seen):
    8-level tape 25.40 mm wide. Their other figures: from memory.
    A punch's service manual (an extract, secondary): widths of 17.46, 22.23 and 25.40 mm, pitch
    of 2.54 mm, holes of 1.83 mm and 1.17 mm, feed line 9.96 mm from the reference edge, three
    channels on its near side.
"""

import re
import xml.etree.ElementTree as ET

import pytest

from server.catalog.vocabulary import WIDTH_MM
from server.tape.dimensions import TAPE_WIDTH_MM, channel_mm
from server.tape.image import Image, Span
from server.tape.picture import strip

SVG = "{http://www.w3.org/2000/svg}"
CHANNELS_MM = {1: 2.34, 2: 4.88, 3: 7.42, 4: 12.50, 5: 15.04, 6: 17.58, 7: 20.12, 8: 22.66}
"""From the reference edge, worked by hand from 9.96 mm and 2.54 mm."""

WIDTHS_MM = {5: 17.46, 6: 22.23, 7: 22.23, 8: 25.40}
TOLERANCE_MM = 0.01
"""What a hole may be off in the picture: far below the 0.05 mm of the manual."""


def measured(levels):
    """Of a strip with all holes punched: the paper, and the rows of holes with their diameters."""
    image = Image(bytes([(1 << levels) - 1]) * 11, levels)
    picture = ET.fromstring(strip(image, Span(0, 11)))
    holes = picture.find(f"{SVG}g[@class='picture-holes']")
    tape = picture.find(f"{SVG}rect[@class='picture-paper']")
    assert holes is not None
    assert tape is not None
    x, y, scale = map(float, re.findall(r"[\d.]+", holes.get("transform", "")))
    edge = float(tape.get("y", "")) + float(tape.get("height", ""))
    rows = []
    for path in holes:
        row = int(re.findall(r"M\d+ (-?\d+)h0", path.get("d", ""))[0])
        steps = len(re.findall("m1 0h0", path.get("d", "")))
        rows.append(
            (edge - y - scale * row, float(path.get("stroke-width", "")) * scale, scale * steps)
        )
    return float(tape.get("height", "")), x - float(tape.get("x", "")), rows


@pytest.mark.parametrize("levels", WIDTHS_MM)
def test_the_tape_is_as_wide_as_it_is_made(levels):
    """8 levels: ECMA-10, ISO 1154; 5 to 7: the service manual."""
    width, _, _ = measured(levels)

    assert WIDTHS_MM[levels] == width == TAPE_WIDTH_MM[levels] == WIDTH_MM[levels]


@pytest.mark.parametrize("levels", WIDTHS_MM)
def test_ten_frames_take_an_inch(levels):
    """ECMA-10, ISO 1154: 2.54 mm from hole to hole; half of it before the first."""
    _, before, rows = measured(levels)

    assert pytest.approx(1.27, abs=TOLERANCE_MM) == before
    assert [pytest.approx(25.4, abs=TOLERANCE_MM)] * (levels + 1) == [length for *_, length in rows]


@pytest.mark.parametrize("levels", WIDTHS_MM)
def test_holes_lie_as_far_from_the_reference_edge_and_are_as_large_as_they_are_punched(levels):
    """The service manual; ECMA-10 and ISO 1154, from memory."""
    _, _, rows = measured(levels)
    feed, *code = [(place, diameter) for place, diameter, _ in rows]

    assert pytest.approx((9.96, 1.17), abs=TOLERANCE_MM) == feed
    expected = [(CHANNELS_MM[channel], 1.83) for channel in range(1, levels + 1)]
    assert [pytest.approx(each, abs=TOLERANCE_MM) for each in expected] == code


def test_channels_lie_where_they_are_said_to():
    assert {channel: channel_mm(channel) for channel in range(1, 9)} == CHANNELS_MM
