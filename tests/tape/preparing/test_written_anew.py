"""Content written anew in another format: it loads the same, or is refused in words."""

from collections.abc import Mapping
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.tape.errors import CannotPrepare
from server.tape.findings import CheckStatus
from server.tape.formats import FORMATS
from server.tape.formats.checksum_block import CheckedProgram, Rule
from server.tape.formats.raw_binary import RawCode
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.image import Orientation
from server.tape.preparing import Preparation, prepare
from server.tape.twelve_bit.program import WordProgram
from server.tape.view import View
from tests.tape.block_tapes import flipped, word_programs
from tests.tape.code_tapes import invented_code
from tests.tape.hex_tapes import memories
from tests.tape.preparing.tapes import ENTRY, LOADED, MEMORY, held, images


@pytest.mark.parametrize(("name", "into"), [*product(LOADED, LOADED)])
@pytest.mark.parametrize("orientation", Orientation)
def test_memory_is_carried_from_each_format_into_each(name, into, orientation):
    prepared = prepare(held(name, orientation), Preparation(format=into))

    again = decode(prepared.reels[0].frames)
    assert prepared.format == again.decoding.format == into
    assert again.decoding.memory == MEMORY
    assert again.decoding.entry_address == ENTRY
    assert again.decoding.check_status is CheckStatus.SOUND


@settings(max_examples=60)
@given(
    memories(0xFFFF),
    st.none() | st.integers(1, 0x7FFF).map(lambda half: 2 * half),
    st.sampled_from(LOADED),
    st.sampled_from(LOADED),
    st.none() | st.integers(1, 64),
)
def test_whatever_is_loaded_is_loaded_by_the_prepared_tape(memory, entry, name, into, length):
    source = decode(FORMATS["intel-hex"].build(HexProgram(memory, entry)).frames)
    first = prepare(source, Preparation(format=name))
    middle = FORMATS[name].parse(View(first.reels[0].image))

    second = prepare(source, Preparation(format=into, record_length=length))

    last = FORMATS[into].parse(View(second.reels[0].image))
    assert middle.memory == last.memory == memory
    assert middle.entry_address == told(entry, memory, name)
    assert last.entry_address == told(entry, memory, into)


def told(entry: int | None, memory: Mapping[int, bytes], form: str) -> int | None:
    """What a tape says of the entry: where its end record always has an address, be it zero.

    Where nothing is loaded at zero that means none; else the two cannot be told apart.
    """
    return 0 if entry is None and form in ("s-record", "tek-hex") and 0 in memory else entry


@settings(max_examples=40)
@given(word_programs(fields=1, comment=False))
def test_words_go_from_bin_to_rim_and_back(program):
    source = decode(FORMATS["bin12"].build(program).frames)
    if source.decoding.format != "bin12" or source.decoding.findings:
        return

    rim = prepare(source, Preparation(format="rim12"))
    parsed = FORMATS["rim12"].parse(View(rim.reels[0].image))

    assert parsed.memory == source.decoding.memory
    again = decode(rim.reels[0].frames)
    if again.decoding.format == "rim12":
        back = prepare(again, Preparation(format="bin12")).reels[0]
        assert FORMATS["bin12"].parse(View(back.image)).memory == source.decoding.memory


def test_words_beyond_the_first_field_have_no_place_on_a_rim_tape():
    words = {0o10200: bytes.fromhex("0E8002830F020022")}
    source = decode(FORMATS["bin12"].build(WordProgram(words)).frames)

    with pytest.raises(CannotPrepare, match="outside the addresses 0 to 7777"):
        prepare(source, Preparation(format="rim12"))


def test_an_entry_address_without_a_place_is_refused_until_it_may_be_left_out():
    source = held("intel-hex")

    with pytest.raises(CannotPrepare, match="no place for an entry address"):
        prepare(source, Preparation(format="semicolon-hex"))
    prepared = prepare(source, Preparation(format="semicolon-hex", leave_entry_out=True))

    assert decode(prepared.reels[0].frames).decoding.memory == MEMORY
    assert "The entry address 0100 is left out." in prepared.changes
    assert any("key in 0100" in each for each in prepared.cautions)


def test_an_entry_address_that_a_format_would_not_be_read_to_have_is_refused():
    source = decode(FORMATS["intel-hex"].build(HexProgram(MEMORY, 0)).frames)
    assert source.decoding.entry_address == 0

    with pytest.raises(CannotPrepare, match="no way to say the entry address 0000"):
        prepare(source, Preparation(format="s-record"))


def test_an_odd_entry_address_is_refused_where_it_means_that_nothing_starts():
    source = decode(FORMATS["intel-hex"].build(HexProgram(MEMORY, 0x101)).frames)

    with pytest.raises(CannotPrepare, match="odd address"):
        prepare(source, Preparation(format="absolute-block"))


@pytest.mark.parametrize("into", ["semicolon-hex", "tek-hex", "absolute-block", "checksum-block"])
def test_addresses_beyond_a_format_are_refused(into):
    source = decode(FORMATS["s-record"].build(HexProgram({0x20000: b"ORRISBY" * 3})).frames)

    with pytest.raises(CannotPrepare, match="outside the addresses 0 to FFFF"):
        prepare(source, Preparation(format=into))


def test_records_longer_than_a_format_has_are_refused():
    with pytest.raises(CannotPrepare, match="cannot carry 253 bytes"):
        prepare(held("s-record"), Preparation(record_length=253))


@pytest.mark.parametrize(
    ("name", "into"),
    [
        ("text", "intel-hex"),
        ("bin12", "intel-hex"),
        ("intel-hex", "bin12"),
        ("crunched-basic", "s-record"),
        ("intel-hex", "text"),
        ("text", "nc-program"),
    ],
)
def test_what_does_not_mean_the_same_is_refused_with_what_would(name, into):
    with pytest.raises(CannotPrepare, match="does not mean the other") as refused:
        prepare(held(name), Preparation(format=into))
    assert name in refused.value.mend


CODE = invented_code("8080", 400, 0x1000, 3)


def raw():
    data = b"\x31" + CODE.strip(b"\0\xff") + b"\xc9"
    return decode(FORMATS["raw-binary"].build(RawCode(data)).frames), data


def test_bare_code_goes_into_records_once_its_address_is_given():
    source, data = raw()

    with pytest.raises(CannotPrepare, match="does not say where its frames are loaded"):
        prepare(source, Preparation(format="intel-hex"))
    prepared = prepare(source, Preparation(format="intel-hex", load_address=0x1000))

    assert decode(prepared.reels[0].frames).decoding.memory == {0x1000: data}


def test_memory_of_one_run_goes_bare_and_says_what_to_key_in():
    data = b"\x3e" + bytes(range(1, 90)) + b"\xc9"
    source = decode(FORMATS["intel-hex"].build(HexProgram({0x0100: data})).frames)

    prepared = prepare(source, Preparation(format="raw-binary"))

    reel = prepared.reels[0]
    assert reel.frames[slice(*reel.data)] == data
    assert any("key in 0100" in each for each in prepared.cautions)


def test_memory_with_gaps_does_not_go_bare():
    with pytest.raises(CannotPrepare, match="2 runs, from 0100, 0400"):
        prepare(held("intel-hex"), Preparation(format="raw-binary", leave_entry_out=True))


def test_bare_code_that_a_reader_would_take_for_leader_is_refused():
    source = decode(FORMATS["intel-hex"].build(HexProgram({0x100: bytes(20) + b"AB" * 9})).frames)

    with pytest.raises(CannotPrepare, match="cannot be told from leader"):
        prepare(source, Preparation(format="raw-binary"))


def test_bare_code_with_an_entry_address_is_refused():
    source = decode(FORMATS["intel-hex"].build(HexProgram({0x100: b"AB" * 30}, 0x100)).frames)

    with pytest.raises(CannotPrepare, match="no way to say the entry address 0100"):
        prepare(source, Preparation(format="raw-binary"))


def test_damage_is_not_hidden_under_new_checksums():
    image = images()["intel-hex"]
    at = image.frames.index(0x3A, 60) + 60
    source = decode(flipped(image, (at, 0x03), (at + 44, 0x03)).frames)
    assert source.decoding.check_status is CheckStatus.DAMAGED

    with pytest.raises(CannotPrepare, match="written anew it would pass its checks") as refused:
        prepare(source, Preparation(format="s-record"))
    assert refused.value.frame is not None
    accepted = prepare(source, Preparation(format="s-record", accept_damage=True))
    assert any("wrong all the same" in each for each in accepted.cautions)


def test_checksum_blocks_keep_the_rule_that_they_were_written_by():
    program = CheckedProgram(MEMORY, ENTRY, rule=Rule.DATA_ONLY, label="TIDES")
    source = decode(FORMATS["checksum-block"].build(program).frames)

    prepared = prepare(source, Preparation(record_length=32))

    again = decode(prepared.reels[0].frames).decoding
    assert again.dialect == Rule.DATA_ONLY
    assert again.memory == MEMORY
    assert any("the name record says 'TIDES'" in each for each in prepared.changes)


def test_records_of_another_length_load_the_same():
    prepared = prepare(held("s-record"), Preparation(record_length=32))

    assert decode(prepared.reels[0].frames).decoding.memory == MEMORY
    assert len(prepared.reels[0].frames) < len(images()["s-record"])


def test_a_tape_that_loads_nothing_has_nothing_to_write_anew():
    source = decode(bytes(60) + b":00000001FF\r\n" + bytes(60))
    assert source.decoding.format == "intel-hex"

    with pytest.raises(CannotPrepare, match="nothing that could be written anew"):
        prepare(source, Preparation(format="s-record"))


@pytest.mark.parametrize("into", ["s-record", "tek-hex"])
def test_a_last_record_that_cannot_but_say_zero_is_warned_of(into):
    source = decode(FORMATS["intel-hex"].build(HexProgram({0: b"ORRISBY" * 9})).frames)

    prepared = prepare(source, Preparation(format=into))

    assert any("a monitor may start there" in each for each in prepared.cautions)
    assert decode(prepared.reels[0].frames).decoding.memory == {0: b"ORRISBY" * 9}
