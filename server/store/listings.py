"""Listings as they are stored: small, quick to read, and nothing lost.

A packed listing is three stretches of bytes, each compressed, one after the other behind their
lengths: the texts end to end; how many characters, which first frame and how many frames each
line has; and the keys in decimal. The texts stand alone, so that a search can show a line
without reading the rest.
"""

import struct
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import NDArray

from server.tape.listing import Line, Listing

_HEAD = struct.Struct("<BIIII")
"""The version of this form, how many lines there are, and the length of each stretch."""

_FORM = 1
_QUICK = 1
"""Compression level: the quickest; stronger ones save a tenth and take five times as long."""

Numbers = NDArray[np.int64]


def pack_listing(listing: Listing) -> bytes:
    """The listing as bytes; `unpack_listing` is the inverse."""
    lines = listing.lines
    lengths = np.fromiter((len(line.text) for line in lines), np.int64, len(lines))
    frames = np.fromiter((line.frame for line in lines), np.int64, len(lines))
    spans = np.fromiter((line.frames for line in lines), np.int64, len(lines))
    texts = "".join(line.text for line in lines).encode("utf-8", "surrogatepass")
    keys = ",".join("" if line.key is None else str(line.key) for line in lines)
    stretches = [
        zlib.compress(part, _QUICK)
        for part in (texts, _planes(np.stack((lengths, _steps(frames), spans))), keys.encode())
    ]
    head = _HEAD.pack(_FORM, len(lines), *map(len, stretches))
    return head + b"".join(stretches)


def unpack_listing(packed: bytes, start: int = 0, stop: int | None = None) -> Listing:
    """The listing that was packed, or its lines from `start` up to, not including, `stop`.

    Raises:
        ValueError: the bytes are no packed listing, or of a form that a later release writes.
    """
    count, (texts, planes, keys) = _stretches(packed, 3)
    lengths, steps, spans = _from_planes(planes, count)
    part = slice(*slice(start, stop).indices(count))
    text = texts.decode("utf-8", "surrogatepass")[lengths[: part.start].sum() :]
    pieces = _cut(text, lengths[part].tolist())
    numbers = keys.decode().split(",")[part] if count else []
    return Listing(
        tuple(
            map(
                Line,
                pieces,
                np.cumsum(steps)[part].tolist(),
                spans[part].tolist(),
                (int(key) if key else None for key in numbers),
            )
        )
    )


@dataclass(frozen=True, slots=True)
class Texts:
    """The texts of lines, one behind the other, and where each begins and the last one ends."""

    joined: str
    edges: list[int]

    def line(self, index: int) -> str:
        """The text of a line."""
        return self.joined[self.edges[index] : self.edges[index + 1]]

    def __len__(self) -> int:
        return len(self.edges) - 1

    def __iter__(self) -> Iterator[str]:
        return map(self.line, range(len(self)))


def unpack_texts(packed: bytes) -> Texts:
    """The texts of the lines alone.

    Raises:
        ValueError: as `unpack_listing`.
    """
    count, (texts, planes) = _stretches(packed, 2)
    lengths = _from_planes(planes, count)[0]
    joined = texts.decode("utf-8", "surrogatepass")
    return Texts(joined, [0, *np.cumsum(lengths).tolist()])


def _stretches(packed: bytes, wanted: int) -> tuple[int, list[bytes]]:
    """How many lines there are, and the first of the stretches without their compression."""
    if len(packed) < _HEAD.size or packed[0] != _FORM:
        raise ValueError(f"not a packed listing of form {_FORM}: {packed[:8]!r}")
    _, count, *sizes = _HEAD.unpack_from(packed)
    edges = list(accumulate(sizes[:wanted], initial=_HEAD.size))
    return count, [zlib.decompress(packed[start:stop]) for start, stop in pairwise(edges)]


def _cut(text: str, lengths: Sequence[int]) -> list[str]:
    edges: Iterable[tuple[int, int]] = pairwise(accumulate(lengths, initial=0))
    return [text[start:stop] for start, stop in edges]


def _steps(values: Numbers) -> Numbers:
    """Each value less the one before: small numbers, which compress well."""
    return np.diff(values, prepend=0)


def _planes(numbers: Numbers) -> bytes:
    """The numbers with their lowest bytes first, then the next ones: long runs of zeros."""
    return numbers.astype("<i8").view(np.uint8).reshape(-1, 8).T.tobytes()


def _from_planes(planes: bytes, count: int) -> Numbers:
    rows = np.frombuffer(planes, np.uint8).reshape(8, -1).T
    return np.ascontiguousarray(rows).view("<i8").reshape(3, count).astype(np.int64)
