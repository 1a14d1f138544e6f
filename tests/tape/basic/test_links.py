"""What linked lines tell of themselves."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.tape.basic.links import SHORTEST, Links, chained_lines
from tests.tape.basic_tapes import PROGRAM, linked


def chained(frames, start=0, stop=None):
    array = np.frombuffer(frames, np.uint8)
    return chained_lines(array, start, len(frames) if stop is None else stop).tolist()


def starts_of(lines=PROGRAM):
    lengths = [5 + len(text) for _, text in lines]
    return [sum(lengths[:count]) for count in range(len(lengths))]


def test_every_line_after_the_first_is_chained():
    assert chained(linked(PROGRAM)) == starts_of()[1:]


def test_the_stretch_looked_at_can_begin_and_end_anywhere():
    frames = bytes(7) + linked(PROGRAM)
    assert chained(frames, 1) == [7 + start for start in starts_of()]
    assert chained(frames, 7 + 3, len(frames) - 12) == [7 + start for start in starts_of()[1:-2]]
    assert chained(frames, 5, 5) == chained(b"") == []


def test_a_line_tells_where_it_stood():
    links = Links(linked(PROGRAM, 0x4001), 1000)
    assert [links.address(at) for at in starts_of()] == [0x4001 + at for at in starts_of()]


def test_nothing_is_read_beyond_the_limit():
    frames = linked(PROGRAM)
    links = Links(frames, 11)
    assert (links.word(9), links.word(10)) == (frames[9] | frames[10] << 8, None)
    assert (links.after(0), links.after(starts_of()[1])) == (starts_of()[1], None)
    assert not links.plausible(8)


def straightforward(frames):
    found = set()
    links = Links(frames, len(frames))
    for at in range(1, len(frames) - SHORTEST + 1):
        after = links.after(at)
        if frames[at - 1] or not links.word(at) or after is None or not links.confirmed(at):
            continue
        if frames[at + 2 : at + 4][::-1] < frames[after + 2 : after + 4][::-1]:
            found |= {at, after}
    return sorted(found)


TELLING = st.sampled_from([0, 0, 0, 1, 6, 7, 12, 13, 18])


@given(st.lists(TELLING, max_size=60).map(bytes))
def test_chained_lines_are_those_that_a_search_frame_by_frame_finds(frames):
    assert chained(frames) == straightforward(frames)
