"""What records load: every byte in address order, the last loaded winning; overlaps and gaps."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from server.tape.dump import Bytes, Cells, Integers
from server.tape.hexadecimal.records import Records


@dataclass(frozen=True, slots=True)
class Loads:
    """Stretches of bytes in the order in which they are loaded, arrays of one length.

    The bytes of a stretch are `lengths` from `at` on in `raw`; they go to memory from
    `addresses` on; `records` says which record each is from, and `starts`, `stops` and
    `damaged` what is known of that record.
    """

    raw: Bytes
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
        """Every byte of every stretch, in the same order."""
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
    def breaks(self) -> NDArray[np.intp]:
        """The cells after which nothing is loaded at the next address, the last left out."""
        return np.flatnonzero(np.diff(self.cells.addresses) != 1)


def stretches(
    records: Records,
    which: Integers,
    *,
    skip: Integers | int,
    lengths: Integers,
    addresses: Integers,
    room: Integers,
    low: Integers | int,
    frames: tuple[Integers, Integers],
) -> Loads:
    """What the records `which` load, one that runs past the top of its addresses in two.

    Arrays are as long as `records`: `skip` is how many bytes stand before the data, `room`
    how many addresses are left from `addresses` on, `low` where they go on after that, and
    `frames` gives the first frame of each record and the one after its last.
    """
    size = len(records)
    all_low = np.broadcast_to(np.asarray(low, np.int64), size)
    over = which[lengths[which] > room[which]]
    records_of = np.concatenate([which, over])
    kept = np.minimum(lengths[which], room[which])
    at = records.at + skip
    loads = Loads(
        records.raw,
        np.concatenate([at[which], at[over] + room[over]]),
        np.concatenate([kept, lengths[over] - room[over]]),
        np.concatenate([addresses[which], all_low[over]]),
        records_of,
        frames[0][records_of],
        frames[1][records_of],
        ~records.sound[records_of],
    )
    return loads.only(np.argsort(records_of, kind="stable")) if over.size else loads


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
    order = np.argsort(cells.addresses, kind="stable")
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
    return Memory(kept, _ranges(kept), np.unique(records[1:][again]), np.unique(records[1:][other]))


def _ranges(cells: Cells) -> dict[int, bytes]:
    if not cells.values.size:
        return {}
    firsts = np.append(0, np.flatnonzero(np.diff(cells.addresses) != 1) + 1)
    data = cells.values.tobytes()
    bounds = pairwise([*firsts.tolist(), len(data)])
    addresses = cells.addresses[firsts].tolist()
    return {
        address: data[start:stop] for address, (start, stop) in zip(addresses, bounds, strict=True)
    }
