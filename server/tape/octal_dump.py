"""Octal dump for machines whose people wrote octal: eight words a line.

    000200  012700 000015                                           |....            |

A byte that is loaded without the other half of its word stands alone, in three digits.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Bytes, Cells, Integers, character_columns, rows_of, to_lines
from server.tape.listing import Line

WORDS: Final = 8
"""Words a line."""

_BLANK: Final = ord(" ")


def word_lines(cells: Cells, damaged_mark: str = "  damaged") -> tuple[Line, ...]:
    """The dump of `cells` that are words of 12 bits, in four digits each."""
    if not cells.values.size:
        return ()
    rows = rows_of(cells, WORDS)
    words = np.zeros((rows.keys.size, WORDS), np.int64)
    words.ravel()[rows.at] = cells.values
    loaded = rows.loaded(WORDS)
    digits = 5 if int(rows.keys[-1]) > 0o7777 else 4
    page = _page(rows.keys, digits, WORDS * 5)
    columns = page[:, digits + 2 :].reshape(-1, WORDS, 5)
    columns[..., :4] = np.where(loaded[..., np.newaxis], _octal(words, 4), _BLANK)
    return to_lines(page, rows, cells, damaged_mark)


def byte_pair_lines(cells: Cells, damaged_mark: str = "  damaged") -> tuple[Line, ...]:
    """The dump of `cells` that are bytes, two to a word of 16 bits, low byte first."""
    if not cells.values.size:
        return ()
    width = 2 * WORDS
    rows = rows_of(cells, width)
    data = np.zeros((rows.keys.size, width), np.uint8)
    data.ravel()[rows.at] = cells.values
    loaded = rows.loaded(width)
    page = _page(rows.keys, 6, WORDS * 7 + width + 3)
    columns = page[:, 8 : 8 + WORDS * 7].reshape(-1, WORDS, 7)
    columns[..., :6] = _pairs(data, loaded)
    page[:, -width - 2 :] = character_columns(data, loaded)
    return to_lines(page, rows, cells, damaged_mark)


def _pairs(data: Bytes, loaded: NDArray[np.bool_]) -> Bytes:
    """Six digits for each pair of bytes: the word, or the half of it that is loaded."""
    low, high = data[:, ::2].astype(np.int64), data[:, 1::2].astype(np.int64)
    has_low, has_high = loaded[:, ::2, np.newaxis], loaded[:, 1::2, np.newaxis]
    whole = _octal(high << 8 | low, 6)
    if loaded.all():
        return whole
    blanks = np.full((*low.shape, 3), _BLANK, np.uint8)
    lone_low = np.concatenate([blanks, _octal(low, 3)], axis=-1)
    lone_high = np.concatenate([_octal(high, 3), blanks], axis=-1)
    lone = np.where(has_low, lone_low, np.where(has_high, lone_high, _BLANK))
    pairs: Bytes = np.where(has_low & has_high, whole, lone).astype(np.uint8)
    return pairs


def _page(keys: Integers, digits: int, columns: int) -> Bytes:
    page = np.full((keys.size, digits + 2 + columns), _BLANK, np.uint8)
    page[:, :digits] = _octal(keys, digits)
    return page


def _octal(numbers: Integers, digits: int) -> Bytes:
    """`digits` octal digits of each of `numbers`, along a last axis."""
    shifts = np.arange(3 * (digits - 1), -1, -3)
    shown: Bytes = ((numbers[..., np.newaxis] >> shifts & 7) + ord("0")).astype(np.uint8)
    return shown
