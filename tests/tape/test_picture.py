"""The picture of a strip: every hole where it belongs, findings marked in shapes and words."""

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.dimensions import FEED_LINE_MM, TAPE_WIDTH_MM, channel_mm
from server.tape.findings import Finding, Severity
from server.tape.image import Image, Orientation, Span
from server.tape.lettering import letter_frames
from server.tape.picture import MOST_FRAMES, strip
from server.tape.picture_marks import MOST_MARKS

SVG = "{http://www.w3.org/2000/svg}"


@st.composite
def images(draw):
    levels = draw(st.sampled_from([5, 6, 7, 8]))
    frames = draw(st.binary(min_size=1, max_size=120))
    return Image(bytes(frame & (1 << levels) - 1 for frame in frames), levels)


@st.composite
def spans(draw):
    image = draw(images())
    start = draw(st.integers(0, len(image) - 1))
    return image, Span(start, draw(st.integers(start + 1, len(image))))


def discs(picture):
    """Each disc of a picture: its centre from the left and top of the picture, and diameter."""
    holes = picture.find(f"{SVG}g[@class='picture-holes']")
    x, y, scale = map(float, re.findall(r"[\d.]+", holes.get("transform")))
    found = []
    for path in holes:
        first, *steps = re.findall(r"[Mm]-?\d+(?: -?\d+)?(?=h0|\s)", path.get("d"))
        column, row = map(int, first[1:].split())
        columns = [column]
        for step in steps:
            columns.append(columns[-1] + int(step[1:].split()[0]))
        width = float(path.get("stroke-width")) * scale
        found += [(x + scale * each, y + scale * row, width) for each in columns]
    return found


def paper(picture):
    (rect,) = picture.findall(f"{SVG}rect[@class='picture-paper']")
    return {name: float(rect.get(name)) for name in ("x", "y", "width", "height")}


def drawn(image, span, findings=(), **options):
    return ET.fromstring(strip(image, span, findings, **options))


def whole(image, findings=(), **options):
    return drawn(image, Span(0, len(image)), findings, **options)


def finding(frame, frames=1, kind="parity-error", severity=Severity.DAMAGE):
    return Finding(kind, severity, frame, frames, "a hole is <wrong> & more", "read again")


@given(spans())
def test_as_many_holes_are_drawn_as_are_punched(drawing):
    image, span = drawing
    holes = discs(drawn(image, span))

    feed = [hole for hole in holes if hole[2] < 1.5]
    assert span.frames == len(feed)
    punched = sum(frame.bit_count() for frame in image.frames[slice(*span)])
    assert punched == len(holes) - len(feed)


@given(spans(), st.sampled_from(Orientation))
def test_every_hole_lies_where_its_frame_and_channel_are(drawing, orientation):
    image, span = drawing
    picture = drawn(image, span, orientation=orientation)
    tape = paper(picture)
    turned = Image(image.frames[slice(*span)], image.levels).turned(orientation)

    expected = {
        (place, channel)
        for place, frame in enumerate(turned.frames)
        for channel in range(1, image.levels + 1)
        if frame >> channel - 1 & 1
    }
    edge = tape["y"] + tape["height"]
    found = {
        (place, channel)
        for x, y, width in discs(picture)
        for place in [round((x - tape["x"]) / 2.54 - 0.5)]
        for channel in range(1, image.levels + 1)
        if width > 1.5
        and x - tape["x"] == pytest.approx(2.54 * (place + 0.5), abs=0.02)
        and edge - y == pytest.approx(channel_mm(channel), abs=0.02)
    }
    assert expected == found


@given(images())
def test_feed_holes_lie_on_one_line_a_pitch_apart(image):
    picture = whole(image)
    tape = paper(picture)
    feed = sorted((x, y) for x, y, width in discs(picture) if width < 1.5)

    assert [pytest.approx(tape["y"] + tape["height"] - FEED_LINE_MM)] * len(image) == [
        y for _, y in feed
    ]
    assert [pytest.approx(tape["x"] + 1.27 + 2.54 * at, abs=0.01) for at in range(len(image))] == [
        x for x, _ in feed
    ]


@given(spans())
def test_the_tape_is_as_long_and_wide_as_it_is_and_the_picture_prints_in_true_size(drawing):
    image, span = drawing
    picture = drawn(image, span)

    assert pytest.approx(2.54 * span.frames, abs=0.01) == paper(picture)["width"]
    assert TAPE_WIDTH_MM[image.levels] == paper(picture)["height"]
    left, top, width, height = picture.get("viewBox").split()
    assert (left, top) == ("0", "0")
    assert (f"{width}mm", f"{height}mm") == (picture.get("width"), picture.get("height"))


def numbers(picture):
    texts = [text.text for text in picture.iter(f"{SVG}text")]
    return [text for text in texts if text.replace(",", "").isdigit() and int(text[-1]) % 10 == 0]


def scale(picture):
    labels = [
        (text.text, float(text.get("x")))
        for group in picture.iter(f"{SVG}g")
        if group.get("text-anchor") == "middle"
        for text in group
    ]
    return labels[::2], labels[1::2]


def test_frames_are_numbered_every_inch_with_their_millimetres():
    frames, millimetres = scale(drawn(Image(bytes(2000)), Span(1195, 1225)))

    assert [label for label, _ in frames] == ["1,200", "1,210", "1,220"]
    assert [label for label, _ in millimetres] == ["3,048.0 mm", "3,073.4 mm", "3,098.8 mm"]
    assert [x for _, x in frames] == [x for _, x in millimetres]
    assert frames[0][1] == pytest.approx(6 + 2.54 * 5.5, abs=0.01)


def test_a_strip_turned_end_for_end_keeps_the_numbers_of_the_frames_as_read():
    frames, _ = scale(drawn(Image(bytes(100)), Span(15, 35), orientation=Orientation.REVERSED))

    assert [label for label, _ in frames] == ["30", "20"]
    assert frames[0][1] < frames[1][1]


def test_a_strip_too_short_for_a_round_number_has_that_of_its_first_frame():
    frames, _ = scale(drawn(Image(bytes(100)), Span(12, 14)))

    assert [label for label, _ in frames] == ["12"]


@pytest.mark.parametrize("levels", [5, 6, 7, 8])
def test_every_channel_is_numbered(levels):
    picture = whole(Image(b"\1", levels))
    (beside,) = (each for each in picture.iter(f"{SVG}g") if each.get("text-anchor") == "end")

    assert [str(channel) for channel in range(1, levels + 1)] == [text.text for text in beside]


@pytest.mark.parametrize(
    ("span", "orientation", "ends"),
    [
        ((0, 50), Orientation.AS_READ, ["left", "right"]),
        ((0, 20), Orientation.AS_READ, ["left"]),
        ((30, 50), Orientation.MIRRORED, ["right"]),
        ((30, 50), Orientation.REVERSED, ["left"]),
        ((0, 20), Orientation.REVERSED_MIRRORED, ["right"]),
        ((0, 1), Orientation.REVERSED, ["right"]),
        ((20, 30), Orientation.AS_READ, []),
    ],
)
def test_the_tape_has_an_edge_only_where_it_ends(span, orientation, ends):
    picture = drawn(Image(bytes(50)), Span(*span), orientation=orientation)
    tape = paper(picture)
    edges = picture.find(f"{SVG}path[@class='picture-edge']").get("d")

    upright = [float(x) for x in re.findall(r"M([\d.]+) [\d.]+v", edges)]
    at = {"left": tape["x"], "right": tape["x"] + tape["width"]}
    assert [pytest.approx(at[end], abs=0.01) for end in ends] == upright


def marks(picture):
    return {
        severity: picture.findall(f"{SVG}g[@class='picture-{severity}']") for severity in Severity
    }


def test_a_finding_is_framed_and_has_a_shape_and_its_kind_in_words():
    picture = drawn(Image(bytes(200)), Span(60, 90), [finding(70, 3)])
    (mark,) = marks(picture)[Severity.DAMAGE]
    box = mark.find(f"{SVG}rect")

    assert float(box.get("x")) == pytest.approx(6 + 2.54 * 10, abs=0.01)
    assert float(box.get("width")) == pytest.approx(2.54 * 3, abs=0.01)
    assert mark.find(f"{SVG}text").text == "parity error"


def test_each_severity_has_a_shape_of_its_own():
    found = [finding(5 * at, severity=each) for at, each in enumerate(Severity)]
    shapes = {
        re.sub(r"^M[\d. ]+", "", mark.find(f"{SVG}path").get("d"))
        for several in marks(whole(Image(bytes(50)), found)).values()
        for mark in several
    }

    assert len(shapes) == len(Severity)


@pytest.mark.parametrize("orientation", Orientation)
def test_a_mark_moves_with_its_frames_when_the_tape_is_turned(orientation):
    image = Image(bytes(40))
    picture = whole(image, [finding(4, 2)], orientation=orientation)
    (mark,) = marks(picture)[Severity.DAMAGE]

    first = 34 if orientation.runs_backwards else 4
    assert float(mark.find(f"{SVG}rect").get("x")) == pytest.approx(6 + 2.54 * first, abs=0.01)


@pytest.mark.parametrize(
    ("frame", "frames", "shown"),
    [(50, 30, 20), (85, 20, 5), (0, 200, 30), (59, 1, 0), (90, 1, 0), (60, 0, 1)],
)
def test_of_a_finding_those_frames_are_framed_that_the_strip_shows(frame, frames, shown):
    picture = drawn(Image(bytes(300)), Span(60, 90), [finding(frame, frames)])
    widths = [
        float(mark.find(f"{SVG}rect").get("width")) for mark in marks(picture)[Severity.DAMAGE]
    ]

    assert [pytest.approx(2.54 * shown, abs=0.01)] * (shown > 0) == widths
    assert ("parity error" in picture.find(f"{SVG}desc").text) == (shown > 0)


def labels(picture):
    """Left, right and height of the words of each mark, from the left; rights as estimated."""
    found = []
    for mark in marks(picture)[Severity.DAMAGE]:
        for text in mark.findall(f"{SVG}text"):
            x = float(text.get("x"))
            found.append((x, x + 1.5 * len(text.text), float(text.get("y"))))
    return sorted(found)


@given(st.sets(st.integers(0, 79), min_size=1, max_size=30))
def test_no_words_overlap_and_none_lie_beyond_the_picture(frames):
    picture = whole(Image(bytes(80)), [finding(frame) for frame in frames])
    placed = labels(picture)
    width, height = map(float, picture.get("viewBox").split()[2:])

    for at, (left, right, row) in enumerate(placed):
        assert right <= width
        assert row <= height
        assert all(right <= other for other, _, same in placed[at + 1 :] if same == row)
        # Nor does a line down to lower words run through these.
        assert all(not left < other < right for other, _, below in placed[at + 1 :] if below > row)
    assert len(frames) == len(marks(picture)[Severity.DAMAGE])
    assert placed


def test_of_very_many_findings_the_gravest_are_marked():
    notes = [finding(at, kind="rub-out", severity=Severity.NOTE) for at in range(100)]
    picture = whole(Image(bytes(200)), [*notes, finding(150)])

    assert {name: len(found) for name, found in marks(picture).items()} == {
        "note": MOST_MARKS - 1, "warning": 0, "damage": 1,
    }  # fmt: skip


def test_the_picture_can_be_heard():
    image = Image(bytes(20) + b"\x41\x41\x0a")
    picture = drawn(image, Span(10, 23), [finding(21)])

    assert picture.get("role") == "img"
    assert picture[0].tag == f"{SVG}title"
    assert picture[0].text == "Frames 10 to 22 of 23"
    told = picture[1].text
    assert picture[1].tag == f"{SVG}desc"
    assert "8 levels, 25.4 mm to 55.9 mm from the first frame, drawn as it was read" in told
    assert "in hexadecimal: 00 10 times, 41 2 times, 0A" in told
    assert "damage, parity error, frame 21: a hole is <wrong> & more" in told


def test_a_finding_without_fault_for_the_ear_says_where_it_ends():
    told = whole(Image(bytes(9)), [finding(2, 3)])[1].text

    assert "frame 2 to 4" in told
    assert "Findings: none" in whole(Image(bytes(9)))[1].text


def test_signs_that_no_picture_may_hold_are_left_out():
    odd = Finding("unknown-token", Severity.WARNING, 1, 1, "a \x00 token \x1b \ud800", "look")

    assert "a   token  " in whole(Image(bytes(9)), [odd])[1].text


@given(spans(), st.sampled_from(Orientation))
def test_a_picture_holds_no_style_and_no_script(drawing, orientation):
    image, span = drawing
    text = strip(image, span, [finding(0)], orientation=orientation)
    tags = {each.tag.removeprefix(SVG) for each in ET.fromstring(text).iter()}

    assert tags <= {"svg", "title", "desc", "g", "rect", "path", "text"}
    assert not re.search(r'\b(style|href|on\w+|id)="', text)


@pytest.mark.parametrize("frame", [0x00, 0x55, 0xFF])
def test_two_hundred_frames_take_less_than_fifteen_kilobytes(frame):
    assert len(strip(Image(bytes([frame]) * 200), Span(0, 200))) < 15_000


def test_two_hundred_frames_of_lettering_and_noise_take_less_than_fifteen_kilobytes():
    letters = letter_frames("WHOLE LABELS OF TAPES 123")
    image = Image(bytes(20) + letters + bytes((at * 89 + 7) % 256 for at in range(200)))

    assert len(strip(image, Span(0, 200), [finding(at) for at in range(30, 60, 3)])) < 15_000


@pytest.mark.parametrize(
    ("span", "what"),
    [
        ((0, 0), "has no span 0 to 0"),
        ((5, 3), "has no span 5 to 3"),
        ((-1, 3), "has no span -1 to 3"),
        ((990, 1001), "1000 frames has no span 990 to 1001"),
        ((0, MOST_FRAMES + 1), "401 frames are more than the 400 of one strip"),
    ],
)
def test_a_span_that_cannot_be_drawn_is_refused(span, what):
    with pytest.raises(ValueError, match=what):
        strip(Image(bytes(1000)), Span(*span))


def test_the_longest_strip_is_drawn():
    assert len(discs(drawn(Image(bytes(1000)), Span(100, 100 + MOST_FRAMES)))) == MOST_FRAMES
