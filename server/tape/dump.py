"""Hex-and-text dump: sixteen bytes a line, each line tied to the frames it came from.

    0100  3E 41 D3 01 C3 00 01                             |>A.....         |

Lines begin at addresses that sixteen divides; a byte that nothing loaded is left blank.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.listing import Line

WIDTH: Final = 16
"""Bytes a line."""

_PRINTED = bytes(byte if 0x20 <= byte < 0x7F else ord(".") for byte in range(256))
_HEX_COLUMNS = 3 * WIDTH

# Half a large dump's time is making its lines, and this is twice as quick as calling Line.
_line: Final[Callable[[tuple[str, int, int, int]], Line]] = partial(tuple.__new__, Line)

Bytes = NDArray[np.uint8]
CellValues = NDArray[np.uint8] | NDArray[np.uint16]
Integers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Cells:
    """Loaded cells, in rising order of address, each with the record that it came from.

    `sources` is as long as `values`, and says which record a cell stood in: `starts` and
    `stops` bound the frames of each record, and `damaged` says which cannot be trusted.
    """

    addresses: Integers
    values: CellValues
    sources: NDArray[np.int32]
    starts: Integers
    stops: Integers
    damaged: NDArray[np.bool_]

    def until(self, stop: int) -> "Cells":
        """The first `stop` of them."""
        return replace(
            self,
            addresses=self.addresses[:stop],
            values=self.values[:stop],
            sources=self.sources[:stop],
        )


class Rows(NamedTuple):
    """The rows of a dump: address and first cell of each, and how many cells it has.

    `at` says for each cell where in the rows, one after the other, it stands.
    """

    keys: Integers
    first: NDArray[np.intp]
    counts: Integers
    at: Integers

    def loaded(self, width: int) -> NDArray[np.bool_]:
        """Which of the `width` places of each row hold a cell."""
        there = np.zeros((self.keys.size, width), np.bool_)
        there.ravel()[self.at] = True
        return there


class _Missing(NamedTuple):
    """The rows that are not full, and which of the sixteen bytes of each are not there."""

    rows: NDArray[np.intp]
    bytes: NDArray[np.bool_]


def dump_lines(data: bytes, frame: int, address: int = 0) -> tuple[Line, ...]:
    """The dump of `data`, a byte a frame from `frame` on, the first at `address`.

    `address` is one that sixteen divides.
    """
    rows = -(-len(data) // WIDTH)
    if not rows:
        return ()
    matrix = np.frombuffer(data.ljust(rows * WIDTH, b"\0"), np.uint8).reshape(rows, WIDTH)
    in_last = len(data) - (rows - 1) * WIDTH
    missing = _Missing(np.array([rows - 1]), np.arange(WIDTH)[np.newaxis] >= in_last)
    keys = np.arange(rows, dtype=np.int64) * WIDTH + address
    frames = range(frame, frame + len(data), WIDTH)
    counts = [*(WIDTH,) * (rows - 1), in_last]
    texts = _texts(keys, matrix, missing)
    return tuple(map(_line, zip(texts, frames, counts, keys.tolist(), strict=True)))


def cell_lines(
    cells: Cells, damaged_mark: str = "  damaged", most: int | None = None
) -> tuple[Line, ...]:
    """The dump of `cells`, the first `most` lines of it.

    A line with bytes of a damaged record ends in `damaged_mark`.
    """
    if not cells.values.size:
        return ()
    rows = rows_of(cells, WIDTH)
    if most is not None and rows.keys.size > most:
        cells = cells.until(int(rows.first[most]))
        rows = rows_of(cells, WIDTH)
    matrix = np.zeros((rows.keys.size, WIDTH), np.uint8)
    matrix.ravel()[rows.at] = cells.values
    texts = _texts(rows.keys, matrix, _missing(rows.counts, rows.at))
    return _lines(texts, rows, cells, damaged_mark)


def rows_of(cells: Cells, width: int) -> Rows:
    """The rows that `cells`, one at least, fall into, `width` (a power of two) to a row."""
    shift = width.bit_length() - 1
    blocks = cells.addresses >> shift
    first = np.flatnonzero(np.diff(blocks, prepend=blocks[0] - 1))
    counts = np.diff(first, append=blocks.size)
    at = np.repeat(np.arange(first.size) * width, counts) + (cells.addresses & (width - 1))
    return Rows(blocks[first] << shift, first, counts, at)


def character_columns(data: Bytes, loaded: NDArray[np.bool_]) -> Bytes:
    """The bytes of each row as characters between bars, blank where none is loaded."""
    shown = np.full((data.shape[0], data.shape[1] + 2), ord("|"), np.uint8)
    text = np.frombuffer(data.tobytes().translate(_PRINTED), np.uint8).reshape(data.shape)
    shown[:, 1:-1] = np.where(loaded, text, ord(" "))
    return shown


def to_lines(page: Bytes, rows: Rows, cells: Cells, damaged_mark: str) -> tuple[Line, ...]:
    """The lines whose characters are the rows of `page`, spaces at their ends left out."""
    width = page.shape[1]
    whole = page.tobytes().decode("ascii")
    texts = [whole[at : at + width].rstrip() for at in range(0, len(whole), width)]
    return _lines(texts, rows, cells, damaged_mark)


def _lines(texts: list[str], rows: Rows, cells: Cells, damaged_mark: str) -> tuple[Line, ...]:
    if cells.damaged.any():
        in_row = np.logical_or.reduceat(cells.damaged[cells.sources], rows.first)
        for row in np.flatnonzero(in_row).tolist():
            texts[row] += damaged_mark
    starts, stops = _frames(cells, rows.first)
    facts = zip(texts, starts.tolist(), (stops - starts).tolist(), rows.keys.tolist(), strict=True)
    return tuple(map(_line, facts))


def _frames(cells: Cells, first: NDArray[np.intp]) -> tuple[Integers, Integers]:
    """From the first to after the last frame of all the records in each row."""
    sources = cells.sources
    if np.all(sources[1:] >= sources[:-1]) and np.all(cells.starts[1:] >= cells.starts[:-1]):
        last = np.append(first[1:], sources.size) - 1
        return cells.starts[sources[first]], cells.stops[sources[last]]
    return (
        np.minimum.reduceat(cells.starts[sources], first),
        np.maximum.reduceat(cells.stops[sources], first),
    )


def _missing(counts: Integers, at: Integers) -> _Missing:
    rows = np.flatnonzero(counts < WIDTH)
    missing = np.ones(counts.size * WIDTH, np.bool_)
    if rows.size:
        missing[at] = False
    return _Missing(rows, missing.reshape(-1, WIDTH)[rows])


def _texts(keys: Integers, matrix: Bytes, missing: _Missing) -> list[str]:
    """The text of each row: address, bytes in hexadecimal, bytes as characters."""
    digits = _address_digits(int(keys[-1]))
    columns = slice(digits + 2, digits + 2 + _HEX_COLUMNS)
    bar = columns.stop + 1
    width = bar + 1 + WIDTH + 1
    page = np.full((len(matrix), width), ord(" "), np.uint8)
    page[:, :digits] = _ascii(keys.astype(">u4").tobytes().hex()).reshape(-1, 8)[:, -digits:]
    data = matrix.tobytes()
    page[:, columns] = _ascii(data.hex(" ") + " ").reshape(-1, _HEX_COLUMNS)
    page[:, (bar, width - 1)] = ord("|")
    page[:, bar + 1 : -1] = np.frombuffer(data.translate(_PRINTED), np.uint8).reshape(-1, WIDTH)
    if missing.rows.size:
        _blank(page, columns, np.repeat(missing.bytes, 3, axis=1), missing.rows)
        _blank(page, slice(bar + 1, width - 1), missing.bytes, missing.rows)
    whole = page.tobytes().decode("ascii")
    return [whole[at : at + width] for at in range(0, len(whole), width)]


def _blank(page: Bytes, columns: slice, mask: NDArray[np.bool_], rows: NDArray[np.intp]) -> None:
    if rows.size == len(page):
        np.copyto(page[:, columns], ord(" "), where=mask)
    else:
        page[rows, columns] = np.where(mask, ord(" "), page[rows, columns])


def _address_digits(highest: int) -> int:
    return max(4, (highest.bit_length() + 7) // 8 * 2)


def _ascii(hexadecimal: str) -> Bytes:
    return np.frombuffer(hexadecimal.upper().encode("ascii"), np.uint8)
