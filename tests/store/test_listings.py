import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.store.listings import pack_listing, unpack_listing, unpack_texts
from server.tape.listing import Line, Listing

FRAMES = st.integers(min_value=0, max_value=2**31)
LINES = st.builds(
    Line, st.text(), FRAMES, FRAMES, st.none() | st.integers(min_value=-(2**70), max_value=2**70)
)


@given(st.lists(LINES))
def test_listing_comes_back_as_it_was_packed(lines: list[Line]):
    listing = Listing(tuple(lines))

    assert unpack_listing(pack_listing(listing)) == listing


@given(st.lists(LINES), st.integers(0, 9), st.none() | st.integers(0, 9))
def test_part_of_a_listing_is_that_part(lines: list[Line], start: int, stop: int | None):
    packed = pack_listing(Listing(tuple(lines)))

    assert unpack_listing(packed, start, stop).lines == tuple(lines[start:stop])


@given(st.lists(LINES))
def test_texts_alone_are_those_of_the_lines(lines: list[Line]):
    packed = pack_listing(Listing(tuple(lines)))

    assert list(unpack_texts(packed)) == [line.text for line in lines]


def test_text_of_any_code_point_is_kept():
    listing = Listing((Line("\0\n\r\ud800\U0010ffff", 0, 5),))

    assert unpack_listing(pack_listing(listing)) == listing


@pytest.mark.parametrize("damaged", [b"", b"\1", b"\2" + b"\0" * 16, b"10 PRINT"])
def test_other_bytes_are_refused(damaged: bytes):
    with pytest.raises(ValueError, match="not a packed listing"):
        unpack_listing(damaged)


def test_listing_of_a_full_roll_is_packed_smaller():
    """120,000 frames in 7,500 lines."""
    lines = tuple(Line(f"{10 * n} LET A={n % 97}:REM", 16 * n, 16, 10 * n) for n in range(1, 7501))
    listing = Listing(lines)

    assert len(pack_listing(listing)) < len(listing.text) / 2
