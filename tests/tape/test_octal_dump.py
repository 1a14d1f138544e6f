import numpy as np

from server.tape.dump import Cells
from server.tape.octal_dump import byte_pair_lines, word_lines


def cells(addresses: list[int], values: list[int], *, words: bool, damaged: bool = False) -> Cells:
    count = len(addresses)
    return Cells(
        np.array(addresses, np.int64),
        np.array(values, np.uint16) if words else np.array(values, np.uint8),
        np.zeros(count, np.int32),
        np.array([7], np.int64),
        np.array([9], np.int64),
        np.array([damaged]),
    )


def test_bytes_are_shown_as_words_low_byte_first_and_as_characters():
    (line,) = byte_pair_lines(
        cells(list(range(0o1000, 0o1004)), [0xC0, 0x15, 0x41, 0], words=False)
    )
    assert line.text == f"001000  012700 000101{' ' * 44}|..A.            |"
    assert (line.key, line.frame, line.frames) == (0o1000, 7, 2)


def test_a_byte_without_its_fellow_stands_alone_in_three_digits():
    (line,) = byte_pair_lines(cells([0o1001, 0o1004], [0xC0, 0x15], words=False))
    assert line.text.startswith("001000  300              025 ")
    assert line.text.endswith("| .  .           |")


def test_words_are_shown_eight_to_a_line_at_addresses_that_eight_divides():
    lines = word_lines(cells([0o207, 0o210], [0o7402, 0o42], words=True, damaged=True))
    assert [line.text for line in lines] == [
        f"0200  {' ' * 35}7402  damaged",
        "0210  0042  damaged",
    ]


def test_nothing_has_no_lines():
    assert word_lines(cells([], [], words=True)) == byte_pair_lines(cells([], [], words=False))
