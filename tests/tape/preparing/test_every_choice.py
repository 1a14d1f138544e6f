"""All choices at once: whatever is prepared says what it was prepared from, or is refused."""

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotPrepare
from server.tape.formats import FORMATS
from server.tape.formats.intel_hex import IntelHex
from server.tape.identify import Decoded, decode
from server.tape.image import Image, Orientation
from server.tape.material import Kind, Material, Writing, joined
from server.tape.preparing import Pattern, Preparation, prepare, targets_of
from tests.tape.preparing.tapes import LETTERINGS, MEMORY, held, images


@st.composite
def tapes_and_choices(draw: st.DrawFn) -> tuple[Decoded, Preparation]:
    """A tape as held, and choices that its format may have."""
    source = held(draw(st.sampled_from(sorted(images()))), draw(st.sampled_from(Orientation)))
    into = draw(st.none() | st.sampled_from(targets_of(FORMATS[source.decoding.format], FORMATS)))
    known = FORMATS[into or source.decoding.format]
    code = draw(st.none() | st.sampled_from(known.codes or [None]))
    rules = [each for each in CODES[code].parities if each is not Parity.NONE] if code else []
    return source, Preparation(
        leader_frames=draw(st.integers(9, 120)),
        trailer_frames=draw(st.integers(9, 120)),
        leader_pattern=draw(st.sampled_from([Pattern.USUAL, *known.idle])),
        trailer_pattern=draw(st.sampled_from([Pattern.USUAL, *known.idle])),
        lettering=draw(LETTERINGS),
        levels=draw(st.sampled_from([None, None, None, 8])),
        code=code,
        parity=draw(st.sampled_from([None, *rules])),
        format=into,
        record_length=draw(st.none() | st.integers(1, 64)),
        leave_entry_out=draw(st.booleans()),
        frames_per_reel=draw(st.none() | st.integers(500, 1200)),
    )


@settings(max_examples=200)
@given(tapes_and_choices())
def test_what_is_prepared_says_the_same_or_is_refused_in_words(drawn):
    source, how = drawn
    try:
        prepared = prepare(source, how)
    except CannotPrepare as refused:
        event(f"refused: {refused.choice}")
        told = refused.what, refused.mend
        assert all(told), told
        return

    event(f"{source.decoding.format} as {prepared.format} in {len(prepared.reels)}")
    again = [decode(reel.frames, reel.levels) for reel in prepared.reels]
    whole = joined([_loaded(each) for each in again])
    if source.decoding.memory and source.decoding.language != "basic":
        assert whole.memory == source.decoding.memory
    else:
        assert _said(again) == _said([source])
    for reel, each in zip(prepared.reels, again, strict=True):
        assert each.orientation is Orientation.AS_READ
        assert each.lettering == (reel.lettering or None)
        assert how.frames_per_reel is None or len(reel.frames) <= how.frames_per_reel


def _loaded(decoded: Decoded) -> Material:
    cells = Kind.WORDS if decoded.decoding.cell_bytes == 2 else Kind.MEMORY
    return Material(cells, decoded.decoding.memory)


def _said(reels: list[Decoded]) -> list[str]:
    """The lines of all reels as they are listed, spaces and the case of letters aside."""
    return [
        line.text.upper().replace(" ", "") for decoded in reels for line in decoded.decoding.listing
    ]


class Careless(IntelHex):
    """A format that loses the last byte of what it is to write."""

    def write(self, material: Material, way: Writing) -> Image:
        start, run = max(material.memory.items())
        return super().write(
            Material(Kind.MEMORY, {**material.memory, start: run[:-1]}, material.entry_address), way
        )


def test_a_format_that_would_write_something_else_is_found_out():
    formats = {**FORMATS, "intel-hex": Careless()}
    assert held("s-record").decoding.memory == MEMORY

    with pytest.raises(CannotPrepare, match="what is loaded would not be read"):
        prepare(held("s-record"), Preparation(format="intel-hex"), formats)
