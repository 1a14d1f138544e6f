"""Grams: the short runs of bytes by which a long one is looked up.

Every run of each length in `LENGTHS` is hashed to a number. Whoever holds a needle holds all of
its grams, so that an index of grams names the few texts worth reading. Long grams keep them few:
of ten pieces of three bytes each is common in a library of programs, and so is having them all.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

LENGTHS: Final = (3, 4, 6)
"""A needle is looked up by the longest of these that it has; a shorter one is not looked up."""

BITS: Final = 22
"""Numbers have so many bits: more would make the index larger, fewer would mix up more grams."""

ASKED: Final = 6
"""Grams of one needle that are looked up at most, spread over its length.

Of 100,000 listings, 12 took a quarter longer at p95 to look up than they spared in reading texts;
with 3, some needles took five times as long.
"""

Grams = NDArray[np.int64]

_PRIME = np.uint64(0x100000001B3)
_SPREAD = np.uint64(0x9E3779B97F4A7C15)


def grams_of(data: bytes) -> Grams:
    """The grams of all lengths in `data`, in rising order, each once."""
    return np.unique(np.concatenate([_hashed(data, length) for length in LENGTHS]))


def grams_asked(needle: bytes) -> Grams:
    """Some grams that whatever holds `needle` has; none where it is too short for any."""
    lengths = [length for length in LENGTHS if length <= len(needle)]
    if not lengths:
        return np.empty(0, np.int64)
    hashed = _hashed(needle, lengths[-1])
    chosen = np.linspace(0, len(hashed) - 1, min(ASKED, len(hashed))).round().astype(np.intp)
    return np.unique(hashed[chosen])


def _hashed(data: bytes, length: int) -> Grams:
    """The number of each run of so many bytes: FNV-1 without its offset, then spread."""
    bytes_ = np.frombuffer(data, np.uint8).astype(np.uint64)
    count = len(bytes_) - length + 1
    if count <= 0:
        return np.empty(0, np.int64)
    number = np.full(count, length, np.uint64)
    for at in range(length):
        number *= _PRIME
        number ^= bytes_[at : at + count]
    number *= _SPREAD
    return (number >> np.uint64(64 - BITS)).astype(np.int64)
