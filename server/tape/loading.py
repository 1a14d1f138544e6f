"""What blocks or records load: every cell in address order, the last loaded winning.

A cell is a byte, or a word of 12 bits where the values are of 16; it has one address.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Cells, CellValues, Integers

MOST_BLOCKS: Final = 4096
"""How many blocks a coverage map lists; neither a tape nor a reader has use for more."""


class LoadedBlock(NamedTuple):
    """Addresses `start` to `end`, both included, that one block or a run of records loads.

    It stands in `frames` frames from `frame` on; `sound` says whether it can be trusted.
    """

    start: int
    end: int
    frame: int
    frames: int
    sound: bool


@dataclass(frozen=True, slots=True)
class Loads:
    """Stretches of cells in the order in which they are loaded, arrays of one length.

    The cells of a stretch are `lengths` from `at` on in `raw`; they go to memory from
    `addresses` on; `records` says which record or block each is from, and `starts`, `stops` and
    `damaged` what is known of that record.
    """

    raw: CellValues
    at: Integers
    lengths: Integers
    addresses: Integers
    records: Integers
    starts: Integers
    stops: Integers
    damaged: NDArray[np.bool_]

    @property
    def ends(self) -> Integers:
        """The address after the last of each."""
        return self.addresses + self.lengths

    def only(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> "Loads":
        """The stretches that `which` picks, in its order."""
        return Loads(
            self.raw,
            self.at[which],
            self.lengths[which],
            self.addresses[which],
            self.records[which],
            self.starts[which],
            self.stops[which],
            self.damaged[which],
        )

    def cells(self) -> Cells:
        """Every cell of every stretch, in the same order."""
        first = np.cumsum(self.lengths) - self.lengths
        count = np.arange(int(self.lengths.sum()))
        return Cells(
            np.repeat(self.addresses - first, self.lengths) + count,
            self.raw[np.repeat(self.at - first, self.lengths) + count],
            np.repeat(np.arange(self.lengths.size, dtype=np.int32), self.lengths),
            self.starts,
            self.stops,
            self.damaged,
        )


@dataclass(frozen=True, slots=True)
class Memory:
    """What a tape leaves in memory.

    `cells` are rising and distinct in address; `ranges` gives the bytes of each run by its
    first address; `rewritten` the records that load an address loaded before, `contested`
    those of them that put another byte there.
    """

    cells: Cells
    ranges: dict[int, bytes]
    rewritten: Integers
    contested: Integers

    @property
    def spans(self) -> Iterator[tuple[int, int]]:
        """The first and the last address of each run, rising."""
        addresses, breaks = self.cells.addresses, self.breaks
        firsts, lasts = np.append(0, breaks + 1), np.append(breaks, addresses.size - 1)
        whole = slice(addresses.size)
        return zip(addresses[firsts[whole]].tolist(), addresses[lasts[whole]].tolist(), strict=True)

    @property
    def breaks(self) -> NDArray[np.intp]:
        """The cells after which nothing is loaded at the next address, the last left out."""
        return np.flatnonzero(np.diff(self.cells.addresses) != 1)


def assemble(loads: Loads) -> Memory:
    """The memory after `loads`."""
    loads = loads.only(loads.lengths > 0)
    order = np.argsort(loads.addresses, kind="stable")
    ends = np.maximum.accumulate(loads.ends[order])
    if np.all(loads.addresses[order][1:] >= ends[:-1]):
        cells = loads.only(order).cells()
        none = np.empty(0, np.int64)
        return Memory(cells, _ranges(cells), none, none)
    return _contended(loads)


def _contended(loads: Loads) -> Memory:
    """The memory where some address is loaded more than once."""
    cells = loads.cells()
    order = _in_order(cells.addresses)
    addresses, values = cells.addresses[order], cells.values[order]
    records = loads.records[cells.sources[order]]
    again = addresses[1:] == addresses[:-1]
    other = again & (values[1:] != values[:-1])
    last = order[np.append(~again, True)]
    kept = replace(
        cells,
        addresses=cells.addresses[last],
        values=cells.values[last],
        sources=cells.sources[last],
    )
    return Memory(kept, _ranges(kept), _distinct(records[1:][again]), _distinct(records[1:][other]))


def _in_order(addresses: Integers) -> NDArray[np.intp]:
    """The order of `addresses`, those that are equal left as they stand."""
    # Numbers of 16 bits are sorted in linear time.
    narrow = addresses.size and int(addresses.max()) <= np.iinfo(np.uint16).max
    return np.argsort(addresses.astype(np.uint16) if narrow else addresses, kind="stable")


def _distinct(records: Integers) -> Integers:
    """Each of `records` once, rising."""
    return np.flatnonzero(np.bincount(records)) if records.size else records


def _ranges(cells: Cells) -> dict[int, bytes]:
    if not cells.values.size:
        return {}
    firsts = np.append(0, np.flatnonzero(np.diff(cells.addresses) != 1) + 1)
    size = cells.values.dtype.itemsize
    data = cells.values.astype(f">u{size}").tobytes()
    bounds = pairwise([*(firsts * size).tolist(), len(data)])
    addresses = cells.addresses[firsts].tolist()
    return {
        address: data[start:stop] for address, (start, stop) in zip(addresses, bounds, strict=True)
    }


def by_row(loads: Loads, cells_a_row: int, frames_a_cell: int) -> Loads:
    """The same stretches, cut where a row of a dump ends, each piece with its own frames.

    The frames of a stretch stand in `starts` and `stops` without those of head and checksum:
    as many for each cell, one after the other.
    """
    first = loads.addresses // cells_a_row
    pieces = np.where(loads.lengths > 0, (loads.ends - 1) // cells_a_row - first + 1, 0)
    whole = np.repeat(np.arange(pieces.size), pieces)
    number = np.arange(whole.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    begins = np.maximum((first[whole] + number) * cells_a_row, loads.addresses[whole])
    ends = np.minimum((first[whole] + number + 1) * cells_a_row, loads.ends[whole])
    skipped = begins - loads.addresses[whole]
    starts = loads.starts[whole] + skipped * frames_a_cell
    return Loads(
        loads.raw,
        loads.at[whole] + skipped,
        ends - begins,
        begins,
        loads.records[whole],
        starts,
        starts + (ends - begins) * frames_a_cell,
        loads.damaged[whole],
    )


def loaded_runs(loads: Loads) -> tuple[LoadedBlock, ...]:
    """One entry for each run of stretches that goes on where the one before it ended.

    The first `MOST_BLOCKS` only.
    """
    loads = loads.only(loads.lengths > 0)
    if not loads.lengths.size:
        return ()
    goes_on = (loads.addresses[1:] == loads.ends[:-1]) & (loads.damaged[1:] == loads.damaged[:-1])
    first = np.append(0, np.flatnonzero(~goes_on) + 1)[: MOST_BLOCKS + 1]
    last = np.append(first[1:] - 1, loads.lengths.size - 1)[: first.size]
    return loaded_blocks(
        loads.addresses[first],
        loads.ends[last] - 1,
        (loads.starts[first], loads.stops[last]),
        ~loads.damaged[first],
    )


def loaded_blocks(
    starts: Integers, ends: Integers, frames: tuple[Integers, Integers], sound: NDArray[np.bool_]
) -> tuple[LoadedBlock, ...]:
    """The first `MOST_BLOCKS` of these blocks; `frames` bound each of them."""
    facts = (starts, ends, frames[0], frames[1] - frames[0], sound)
    return tuple(
        LoadedBlock(*each)
        for each in zip(*(fact[:MOST_BLOCKS].tolist() for fact in facts), strict=True)
    )
