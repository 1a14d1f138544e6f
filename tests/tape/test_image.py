import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.errors import BadImage
from server.tape.image import Image, Orientation, Span

images = st.integers(5, 8).flatmap(
    lambda levels: st.builds(
        Image,
        st.binary(min_size=1, max_size=300).map(
            lambda data: bytes(frame & ((1 << levels) - 1) for frame in data)
        ),
        st.just(levels),
    )
)


@given(images, st.sampled_from(Orientation))
def test_turning_twice_gives_the_image_again(image, orientation):
    assert image.turned(orientation).turned(orientation) == image


@given(images)
def test_a_mirrored_frame_has_channel_one_where_the_highest_was(image):
    mirrored = image.turned(Orientation.MIRRORED)

    for before, after in zip(image.frames, mirrored.frames, strict=True):
        holes = {channel for channel in range(1, 9) if before >> (channel - 1) & 1}
        assert {image.levels + 1 - channel for channel in holes} == {
            channel for channel in range(1, 9) if after >> (channel - 1) & 1
        }


@given(images, st.data())
def test_a_span_of_the_turned_image_is_found_in_the_image_as_read(image, data):
    start = data.draw(st.integers(0, len(image)))
    span = Span(start, data.draw(st.integers(start, len(image))))
    turned = image.turned(Orientation.REVERSED)

    as_read = image.span_as_read(span, Orientation.REVERSED)

    assert (
        turned.frames[span.start : span.stop] == (image.frames[as_read.start : as_read.stop][::-1])
    )


@given(images)
def test_nothing_but_idle_frames_lies_outside_the_data(image):
    start, stop = image.data_span()

    assert 0 <= start <= stop <= len(image)
    for run in (image.frames[:start], image.frames[stop:]):
        pieces = {frame for frame in run if run.count(frame) < 8}
        assert pieces <= {0, (1 << image.levels) - 1}


@pytest.mark.parametrize(
    ("frames", "span"),
    [
        (bytes(20) + b"AB" + bytes(7), Span(20, 22)),
        (b"\xff" * 5 + bytes(5) + b"AB" + b"\xff" * 2, Span(10, 12)),
        (b"\x80" * 40 + b"AB" + b"\x80" * 40, Span(40, 42)),
        (b"\x80" * 7 + b"AB", Span(0, 9)),
        (bytes(9), Span(9, 9)),
        (b"A" * 400 + b"B" + b"A" * 400, Span(400, 401)),
        (b"A" * 400, Span(400, 400)),
    ],
    ids=["blank", "rub-outs", "pattern", "short run", "all blank", "long pattern", "one byte"],
)
def test_leader_and_trailer_are_found(frames, span):
    assert Image(frames).data_span() == span


@pytest.mark.parametrize(
    ("data", "levels"),
    [(b"\x1f\x01", 5), (b"\x3f", 6), (b"\x40", 8), (b"A\xff", 8), (bytes(4), 8)],
)
def test_levels_are_the_fewest_that_hold_the_holes(data, levels):
    assert Image.of(data).levels == levels


def test_an_image_is_named_by_the_digest_of_its_frames():
    assert Image(b"abc").sha256 == hashlib.sha256(b"abc").hexdigest()


@pytest.mark.parametrize(
    ("data", "levels", "what", "frame"),
    [
        (b"", 8, "holds no frames", None),
        (b"A", 4, "4 is not a number of levels", None),
        (b"\x01\x02\x41", 5, "5-level tape has no frame 41", 2),
    ],
)
def test_what_cannot_be_an_image_is_refused_with_its_place(data, levels, what, frame):
    with pytest.raises(BadImage, match=what) as refused:
        Image.of(data, levels)

    assert refused.value.frame == frame
    assert refused.value.mend
