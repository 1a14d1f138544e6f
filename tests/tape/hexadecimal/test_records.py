import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.tape.hexadecimal.checksums import ByteSum
from server.tape.hexadecimal.records import Grammar, joined, scan

COLON = Grammar(mark=b":", head=1, check=ByteSum(0x00), beyond=5, least=5)
LETTER = Grammar(mark=b"S", head=2, check=ByteSum(0xFF), beyond=1, least=4, wide={1: 2, 2: 3})

# The sample program of 8080 code, MVI A,41; OUT 01; JMP 0100, at 0100.
DATA, END = b":070100003E41D301C30001E1", b":00000001FF"


def test_each_record_has_its_bytes_and_its_place():
    records = scan(b"title\r\n" + DATA + b"\r\n" + END, COLON).records
    assert records.starts.tolist() == [7, 34]
    assert records.stops.tolist() == [32, 45]
    assert records.data(0) == bytes.fromhex("070100003E41D301C30001E1")
    assert records.byte(3).tolist() == [0, 1]
    assert records.number(1, 2).tolist() == [0x0100, 0]


def test_a_number_may_be_as_wide_as_each_record_says():
    records = scan(b"S10A01003E41D301C30001DDS20701234501020389", LETTER).records
    assert records.kinds.tolist() == [1, 2]
    assert records.number(1, np.array([2, 3])).tolist() == [0x0100, 0x012345]


def test_records_need_no_line_ends_and_may_be_in_lower_case():
    assert len(scan((DATA + END).lower(), COLON).records) == 2


def test_a_wrong_checksum_makes_a_suspect_that_fits():
    found = scan(DATA[:-1] + b"0" + END, COLON)
    assert (found.suspects.tolist(), found.failing, len(found.records)) == ([0], 1, 1)


def test_a_short_record_makes_a_suspect_that_does_not_fit():
    found = scan(END + b"\r\n" + DATA[:-2], COLON)
    assert (found.suspects.tolist(), found.failing, len(found.records)) == ([13], 0, 1)


def test_a_mark_in_a_sentence_makes_no_suspect():
    assert scan(b"NOTE: TURN KEY: S1 UP, S10 DOWN", COLON).suspects.size == 0
    assert scan(b"NOTE: TURN KEY: S1 UP, S10 DOWN", LETTER).suspects.size == 0


def test_a_mark_at_the_very_end_is_no_record():
    for text in (b"", b":", b":0", b"S", b"S1", b"S10"):
        for grammar in (COLON, LETTER):
            found = scan(text, grammar)
            assert (len(found.records), found.suspects.size) == (0, 0)


def test_a_record_shorter_than_any_can_be_is_a_suspect():
    assert scan(b"S10000FFFFFF", LETTER).suspects.tolist() == [0]


def test_mended_records_take_their_place_in_the_order_of_the_tape():
    records = joined(scan(DATA + b"\r\n" + END, COLON).records, [(25, 27, 9, b"\x00\x01")])
    assert records.starts.tolist() == [0, 25, 27]
    assert records.sound.tolist() == [True, False, True]
    assert records.data(1) == b"\x00\x01"
    assert records.kinds.tolist()[1] == 9


@given(st.binary(max_size=300), st.sampled_from([COLON, LETTER]))
def test_any_text_can_be_scanned(noise, grammar):
    text = bytes(byte & 0x7F for byte in noise)
    records = scan(text, grammar).records
    for start, stop in zip(records.starts.tolist(), records.stops.tolist(), strict=True):
        digits = bytes.fromhex(text[start + grammar.head : stop].decode())
        assert grammar.check.holds(digits)


@given(st.lists(st.binary(min_size=0, max_size=30), max_size=20))
def test_every_record_written_is_found(payloads):
    bodies = [bytes([len(data), 0, 0, 0]) + data for data in payloads]
    whole = [body + bytes([-sum(body) & 0xFF]) for body in bodies]
    text = b"\r\n".join(b":" + each.hex().encode() for each in whole)
    records = scan(text, COLON).records
    assert [records.data(index) for index in range(len(records))] == whole
