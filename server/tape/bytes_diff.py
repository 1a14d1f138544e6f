"""Where memory, or frames, differ: run by run, with what stands there on either side.

Memory is compared address by address, a copy at another place put back to that of the other;
frames by the fewest single changes, as in `server.tape.edit_distance`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.tape.alignment import Gap
from server.tape.edit_distance import distance, edits
from server.tape.memory_cells import cells_in
from server.tape.normal_form import MemoryRun
from server.tape.relocation import put_back

A_ROW: Final = 16
"""The most bytes of memory that one difference holds; a longer one is cut."""

_NOTHING = -1
"""What stands at an address that is not loaded."""


class ChangeKind(StrEnum):
    """What became of bytes or frames on their way from the left side to the right one."""

    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"
    MOVED = "moved"
    """An absolute address inside, which went with code that was moved."""


@dataclass(frozen=True, slots=True)
class BytesChange:
    """A run that differs: where it begins on each side, and what stands there.

    A place is an address, or a frame; on the side that has nothing there it is where it would be.
    """

    kind: ChangeKind
    left_at: int
    right_at: int
    left: bytes
    right: bytes

    @property
    def bytes(self) -> int:
        """How many bytes, or frames, differ: those of the longer side."""
        return max(len(self.left), len(self.right))


def memory_changes(
    a: Sequence[MemoryRun], b: Sequence[MemoryRun], moved_by: int = 0, cell_bytes: int = 1
) -> Iterator[BytesChange]:
    """What differs from the memory `a` to `b`, which stands `moved_by` cells higher.

    Addresses count bytes in `a` and `b`; in the changes, cells of `cell_bytes` bytes (1, or 2
    with the high one first), and a cell of which one byte differs is told as a whole.
    """
    back = put_back(a, b, cell_bytes) if moved_by else None
    shifted = [(start - moved_by * cell_bytes, run) for start, run in b]
    addresses, (left, right, still) = _side_by_side(
        cell_bytes, a, shifted, back.memory if back else shifted
    )
    kinds = np.select(
        [left == right, left == _NOTHING, right == _NOTHING, left == still],
        [0, 1, 2, 3],
        default=4,
    )
    differing = np.flatnonzero(kinds)
    leaps = (np.diff(addresses[differing]) != 1) | (np.diff(kinds[differing]) != 0)
    a_row = A_ROW // cell_bytes
    for start, stop in pairwise([0, *(np.flatnonzero(leaps) + 1).tolist(), len(differing)]):
        for at in range(start, stop, a_row):
            run = differing[at : min(at + a_row, stop)]
            place, kind = int(addresses[run[0]]), _KINDS[int(kinds[run[0]])]
            yield BytesChange(
                kind,
                place,
                place + moved_by,
                b"" if kind is ChangeKind.ADDED else _bytes(left[run], cell_bytes),
                b"" if kind is ChangeKind.REMOVED else _bytes(right[run], cell_bytes),
            )


_KINDS = {
    1: ChangeKind.ADDED,
    2: ChangeKind.REMOVED,
    3: ChangeKind.MOVED,
    4: ChangeKind.CHANGED,
}

Integers = NDArray[np.int64]


def _side_by_side(cell_bytes: int, *sides: Sequence[MemoryRun]) -> tuple[Integers, list[Integers]]:
    """All addresses that any side loads, and what stands at each on every side."""
    flat = [cells_in(side, cell_bytes) for side in sides]
    addresses = np.unique(np.concatenate([places for places, _ in flat]))
    told = []
    for places, values in flat:
        column = np.full(len(addresses), _NOTHING, np.int64)
        column[np.searchsorted(addresses, places)] = values
        told.append(column)
    return addresses, told


def _bytes(cells: Integers, cell_bytes: int) -> bytes:
    return cells.astype(f">u{cell_bytes}").tobytes()


def frame_changes(a: bytes, b: bytes, most: int) -> list[BytesChange] | None:
    """What differs from the frames `a` to `b`; None where that is more than `most` changes."""
    found = distance(a, b, most)
    if found is None:
        return None
    return [
        BytesChange(
            _kind(edit),
            edit.left,
            edit.right,
            a[edit.left : edit.left_end],
            b[edit.right : edit.right_end],
        )
        for edit in edits(a, b, found)
    ]


def _kind(edit: Gap) -> ChangeKind:
    if edit.left == edit.left_end:
        return ChangeKind.ADDED
    return ChangeKind.REMOVED if edit.right == edit.right_end else ChangeKind.CHANGED
