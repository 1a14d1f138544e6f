"""Machine code that was moved: the same bytes at another address, absolute addresses and all.

A program assembled for another place differs in the place, and in each word inside that holds
an absolute address: by just as much. Words are taken low byte first or high byte first,
whichever leaves less unexplained, so that no processor need be known. Where cells are words of
12 bits, each is one that may hold the address of another in its field (12-bit machines reach
what lies in the same page by its place there, which a move by whole pages leaves alone).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.tape.normal_form import MemoryRun

Bytes = NDArray[np.uint8]

_WORD = 0xFFFF
_FIELD = 0o7777
_LITTLE, _BIG = (0, 8), (8, 0)
"""How far the first and the second byte of a word are shifted."""


@dataclass(frozen=True, slots=True)
class Moved:
    """Memory put back to where another holds it.

    `by` is how many cells higher it was; `words` says how many absolute addresses inside
    went with it; `memory` is what it would be without the move.
    """

    by: int
    words: int
    memory: tuple[MemoryRun, ...]


def put_back(a: Sequence[MemoryRun], b: Sequence[MemoryRun], cell_bytes: int = 1) -> Moved | None:
    """`b` put back to where `a` stands; None unless both load as much in the same pattern.

    Addresses count bytes in both, and cells of `cell_bytes` bytes in what is told of the move.
    """
    if not a or _pattern(a) != _pattern(b) or a[0][0] == b[0][0]:
        return None
    by = (b[0][0] - a[0][0]) // cell_bytes
    left, right = (np.frombuffer(b"".join(run for _, run in each), np.uint8) for each in (a, b))
    words, restored = (
        _restored_words(left, right, by) if cell_bytes == 2 else _restored_bytes(left, right, by)
    )
    return Moved(by, words, tuple(_cut(a, restored.tobytes())))


def _pattern(memory: Sequence[MemoryRun]) -> list[tuple[int, int]]:
    return [(start - memory[0][0], len(run)) for start, run in memory]


def _restored_words(a: Bytes, b: Bytes, by: int) -> tuple[int, Bytes]:
    """As `_restored`, where each cell is a word of 12 bits."""
    left, right = (each.view(">u2").astype(np.int64) for each in (a, b))
    told = ((right - left - by) & _FIELD == 0) & (left != right)
    return int(np.count_nonzero(told)), np.where(np.repeat(told, 2), a, b)


def _restored_bytes(a: Bytes, b: Bytes, by: int) -> tuple[int, Bytes]:
    """As `_restored`, in the order of bytes that leaves less unexplained."""
    return min(
        (_restored(a, b, by, order) for order in (_LITTLE, _BIG)),
        key=lambda found: int(np.count_nonzero(found[1] != a)),
    )


def _restored(a: Bytes, b: Bytes, by: int, order: tuple[int, int]) -> tuple[int, Bytes]:
    """How many words of `b` are greater than in `a` by just the move, and `b` without it."""
    restored = b.copy()
    if len(a) < 2:
        return 0, restored
    left, right = (
        each[:-1].astype(np.int64) << order[0] | each[1:].astype(np.int64) << order[1]
        for each in (a, b)
    )
    told = np.flatnonzero(((right - left - by) & _WORD == 0) & (left != right)).tolist()
    words, free = 0, 0
    for at in told:
        if at >= free:
            words, free = words + 1, at + 2
            restored[at:free] = a[at:free]
    return words, restored


def _cut(pattern: Sequence[MemoryRun], data: bytes) -> list[MemoryRun]:
    runs, at = [], 0
    for start, run in pattern:
        runs.append((start, data[at : at + len(run)]))
        at += len(run)
    return runs


def without_place(memory: Sequence[MemoryRun]) -> bytes:
    """The bytes of `memory` with each word that points into it told from its beginning.

    What results is nearly the same wherever the program stands: data may look like a word that
    points inside, by chance, at one place and not at the other. The order of bytes is the one in
    which more words point inside.
    """
    data = np.frombuffer(b"".join(run for _, run in memory), np.uint8)
    if len(data) < 2:
        return data.tobytes()
    start, end = memory[0][0], memory[-1][0] + len(memory[-1][1])
    found = [_inside(data, start, end, order) for order in (_LITTLE, _BIG)]
    return max(found, key=lambda each: each[0])[1].tobytes()


def _inside(data: Bytes, start: int, end: int, order: tuple[int, int]) -> tuple[int, Bytes]:
    words = data[:-1].astype(np.int64) << order[0] | data[1:].astype(np.int64) << order[1]
    pointing = np.flatnonzero((words >= start) & (words < end)).tolist()
    result = data.copy()
    count, free = 0, 0
    for at in pointing:
        if at >= free:
            count, free = count + 1, at + 2
            value = int(words[at]) - start
            result[at], result[at + 1] = (value >> order[0]) & 0xFF, (value >> order[1]) & 0xFF
    return count, result
