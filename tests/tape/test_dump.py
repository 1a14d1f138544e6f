import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.dump import Cells, cell_lines, dump_lines


def cells(*records: tuple[int, bytes, int, bool]) -> Cells:
    """Cells of records given as (address, bytes, first frame, damaged), in address order."""
    return Cells(
        np.array([a + i for a, data, _, _ in records for i in range(len(data))], np.int64),
        np.frombuffer(b"".join(data for _, data, _, _ in records), np.uint8),
        np.repeat(np.arange(len(records), dtype=np.int32), [len(r[1]) for r in records]),
        np.array([r[2] for r in records], np.int64),
        np.array([r[2] + 10 for r in records], np.int64),
        np.array([r[3] for r in records], np.bool_),
    )


def test_a_line_holds_sixteen_bytes_in_hexadecimal_and_as_characters():
    (line,) = dump_lines(b">A\xd3\x01\xc3\0\x01|~\x7f 0123\xff", 5, 0x100)
    assert line.text == "0100  3E 41 D3 01 C3 00 01 7C 7E 7F 20 30 31 32 33 FF  |>A.....|~. 0123.|"
    assert (line.frame, line.frames, line.key) == (5, 16, 0x100)


def test_the_last_line_is_as_wide_as_the_others():
    first, last = dump_lines(bytes(range(0x40, 0x53)), 7)
    assert last.text == "0010  50 51 52" + " " * 39 + "  |PQR             |"
    assert (last.frame, last.frames, last.key, len(first.text)) == (23, 3, 16, len(last.text))


def test_no_bytes_give_no_lines():
    assert dump_lines(b"", 0) == ()
    assert cell_lines(cells((0, b"", 0, False))) == ()


@given(st.binary(max_size=200), st.integers(0, 1000))
def test_every_byte_can_be_read_back_from_the_dump(data, frame):
    lines = dump_lines(data, frame)
    assert bytes.fromhex("".join(line.text[4:].split("|")[0] for line in lines)) == data
    assert sum(line.frames for line in lines) == len(data)


def test_bytes_that_nothing_loaded_are_left_blank():
    first, second = cell_lines(cells((0x105, b"AB", 10, False), (0x123, b"C", 60, True)))
    assert first.text == "0100" + " " * 17 + "41 42" + " " * 29 + "|     AB         |"
    assert second.text == "0120" + " " * 11 + "43" + " " * 38 + "|   C            |  damaged"
    assert (first.key, first.frame, first.frames) == (0x100, 10, 10)


def test_a_line_spans_the_frames_of_all_its_records():
    (line,) = cell_lines(cells((0, b"AB", 10, False), (2, b"CD", 30, False)))
    assert (line.frame, line.frames) == (10, 30)


def test_a_line_spans_its_records_though_they_were_loaded_downwards():
    (line,) = cell_lines(cells((0, b"AB", 30, False), (2, b"CD", 10, False)))
    assert (line.frame, line.frames) == (10, 30)


@pytest.mark.parametrize(
    ("address", "shown"), [(0xFFF0, "FFF0"), (0x10000, "010000"), (0xFFFFFFF0, "FFFFFFF0")]
)
def test_addresses_are_as_wide_as_the_highest_needs(address, shown):
    assert dump_lines(b"A", 0, address)[0].text.split("  ")[0] == shown
