"""BASIC as text and crunched: what typing the listing in would leave, and back."""

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.tape.basic import DIALECTS
from server.tape.basic.dialect import Dialect, read_table
from server.tape.basic.program import BasicProgram, program_from_text
from server.tape.errors import CannotPrepare
from server.tape.formats import FORMATS, formats_with
from server.tape.identify import decode
from server.tape.preparing import Preparation, prepare
from server.tape.view import View
from tests.tape.basic_tapes import LISTED, PROGRAM, saved, statements
from tests.tape.preparing.tapes import LISTING, held, text


def crunched(listing, dialect="8k-8080", name="Q"):
    program = program_from_text(listing, name, dialect=dialect)
    return decode(FORMATS["crunched-basic"].build(program).frames)


def test_a_listing_is_crunched_and_lists_the_same():
    prepared = prepare(held("text"), Preparation(format="crunched-basic"))

    again = decode(prepared.reels[0].frames).decoding
    assert again.format == "crunched-basic"
    assert tuple(line.text for line in again.listing) == LISTING
    assert again.content[:4] == b"\xd3\xd3\xd3A"


def test_a_crunched_program_is_typed_and_crunched_again_to_the_same_tokens():
    source = decode(bytes(60) + saved(PROGRAM) + bytes(60))

    typed = prepare(source, Preparation(format="text"))
    listing = decode(typed.reels[0].frames)
    assert tuple(line.text for line in listing.decoding.listing) == LISTED
    back = prepare(listing, Preparation(format="crunched-basic")).reels[0]

    assert decode(back.frames).decoding.content == source.decoding.content


@settings(max_examples=60)
@given(st.lists(statements(), min_size=3, max_size=8), st.sampled_from(sorted(DIALECTS)))
def test_whatever_an_interpreter_stores_comes_back_from_text(bodies, dialect):
    listing = "\n".join(f"{10 * at} {body}" for at, body in enumerate(bodies, 1) if body.strip())
    assume(listing.count("\n") >= 2)
    program = program_from_text(listing, dialect=dialect)
    source = decode(FORMATS["crunched-basic"].build(program).frames)
    odd = {"unknown-token", "token-in-text", "control-character"}
    assume(source.decoding.format == "crunched-basic")
    # A short program may be read in another dialect, which knows less.
    assume(not odd & {each.kind for each in source.decoding.findings})

    try:
        prepared = prepare(source, Preparation(format="text"))
    except CannotPrepare:
        # Read in a dialect that knows more, a word stored letter by letter would be a keyword.
        assert source.decoding.dialect != dialect
        return

    content = FORMATS["text"].parse(View(prepared.reels[0].image)).content.decode("ascii")
    again = program_from_text(content, dialect=source.decoding.dialect or dialect)
    back = decode(FORMATS["crunched-basic"].build(again).frames)
    assert back.decoding.content == source.decoding.content


def test_a_crunched_program_keeps_its_name_unless_it_is_given_another():
    source = crunched("\n".join(LISTING))

    kept = prepare(source, Preparation(load_address=0x3001)).reels[0]
    named = prepare(source, Preparation(program_name="Z")).reels[0]

    assert decode(kept.frames).decoding.content[:4] == b"\xd3\xd3\xd3Q"
    assert decode(kept.frames).decoding.load_ranges[0].start == 0x3001
    assert decode(named.frames).decoding.content[:4] == b"\xd3\xd3\xd3Z"


def test_a_name_of_two_characters_is_refused():
    with pytest.raises(CannotPrepare, match="cannot be a program's name"):
        prepare(held("crunched-basic"), Preparation(program_name="ZZ"))


def test_a_line_without_a_number_is_refused_where_it_stands():
    source = text(*LISTING, "RUN FOR THE QUAY")

    with pytest.raises(CannotPrepare, match=r"'RUN FOR THE QUAY' at frame .* has no line number"):
        prepare(source, Preparation(format="crunched-basic"))


def test_bytes_that_no_key_types_are_refused_where_they_stand():
    source = decode(bytes(60) + saved(((10, b'\x96"HI\x96"'), *PROGRAM[1:])) + bytes(60))

    with pytest.raises(CannotPrepare, match="as it is typed cannot hold that") as refused:
        prepare(source, Preparation(format="text"))
    assert refused.value.frame is not None


def test_a_line_too_long_for_the_interpreter_is_refused():
    source = text(*LISTING, "60 PRINT " + "A+" * 150 + "A")

    with pytest.raises(CannotPrepare, match="line 60 takes"):
        prepare(source, Preparation(format="crunched-basic"))


def test_a_program_goes_into_a_dialect_that_reads_its_lines_alike():
    prepared = prepare(crunched("\n".join(LISTING)), Preparation(dialect="8k-6502"))

    content = decode(prepared.reels[0].frames).decoding.content
    assert b"\x97" in content
    assert any("Crunched as" in each for each in prepared.changes)


def test_a_keyword_that_another_dialect_lacks_is_refused_with_its_line():
    source = crunched('10 PRINT "A"\n20 POKE 17,LEFT\n30 GOTO 10\n40 WAIT 16,1')

    with pytest.raises(CannotPrepare, match="line 20 has the keywords POKE in 8k-8080, and none"):
        prepare(source, Preparation(dialect="4k-8080"))


def test_an_unknown_dialect_is_refused_with_those_that_are_known():
    with pytest.raises(CannotPrepare, match="no dialect '9k'") as refused:
        prepare(held("crunched-basic"), Preparation(dialect="9k"))
    assert "8k-8080" in refused.value.mend


def test_a_dialect_that_a_club_keeps_is_one_to_choose():
    shore = Dialect(
        "shore", "Shore", "a print-out", read_table("80 END 81 DATA 82 REM 83 PRINT 84 FOR 85 NEXT")
    )
    formats = formats_with({"shore": shore})

    prepared = prepare(held("text"), Preparation(format="crunched-basic", dialect="shore"), formats)

    assert b'\x83 "TIDE' in prepared.reels[0].frames


def test_a_program_without_a_lead_stays_without():
    program = BasicProgram("A", program_from_text("\n".join(LISTING)).lines, bare=True)
    lines = FORMATS["crunched-basic"].build(program).frames
    source = decode(lines)
    assert source.decoding.format == "crunched-basic"

    prepared = prepare(source, Preparation(load_address=0x2001, accept_damage=True))

    assert prepared.reels[0].frames == lines


def test_a_word_that_was_stored_letter_by_letter_is_not_made_a_keyword():
    source = decode(bytes(60) + saved(((10, b"PRINT"), *PROGRAM[1:])) + bytes(60))

    with pytest.raises(CannotPrepare, match="line 10, typed into 8k-8080"):
        prepare(source, Preparation(format="text"))


def test_a_line_number_that_cannot_be_typed_is_refused():
    source = text(*LISTING, "65530 END")

    with pytest.raises(CannotPrepare, match="above 65529"):
        prepare(source, Preparation(format="crunched-basic"))
