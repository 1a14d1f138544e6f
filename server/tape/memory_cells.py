"""Runs of loaded memory, cell by cell: the address of each, and what it holds."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.tape.normal_form import MemoryRun


def cells_in(
    memory: Sequence[MemoryRun], cell_bytes: int
) -> tuple[NDArray[np.int64], NDArray[np.unsignedinteger[Any]]]:
    """The address of every cell of `memory`, and its value; the high byte of each comes first.

    Addresses count bytes in `memory`, cells of `cell_bytes` bytes in the result; runs begin and
    end with whole cells.
    """
    data = b"".join(run for _, run in memory)
    addresses = [
        np.arange(start // cell_bytes, (start + len(run)) // cell_bytes, dtype=np.int64)
        for start, run in memory
    ]
    return np.concatenate([np.empty(0, np.int64), *addresses]), np.frombuffer(
        data, f">u{cell_bytes}"
    )
