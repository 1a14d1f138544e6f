"""Which frames of a tape put what at which address, as closely as its decoding tells."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from server.tape.cpu.base import Memory
from server.tape.formats.base import Decoding
from server.tape.image import Span
from server.tape.listing import Line
from server.tape.loading import LoadedBlock

_ROW: Final = 16
"""Cells a line of a dump, at most."""

_MOST_FRAMES_A_CELL: Final = 4
"""A word with its address before it takes as many (RIM tape of the 12-bit machine)."""


class Stretch(NamedTuple):
    """Addresses `start` up to `stop` that stand in `span`.

    `frames_a_cell` is how many frames each takes, in the order of the addresses, or None where
    the frames are those of a record as a whole.
    """

    start: int
    stop: int
    span: Span
    frames_a_cell: int | None


class MachineFrames:
    """The frames of each address that `decodings`, placed in one image, load.

    `assumed` is where the frames of one that has no addresses are taken to be loaded;
    `backwards` says that the image was read from the end of the tape.
    """

    def __init__(
        self,
        decodings: Iterable[Decoding],
        assumed: int | None = None,
        *,
        backwards: bool,
    ) -> None:
        self._backwards = backwards
        # Memory holds what the first of several programs puts at an address.
        self._programs = [
            sorted(_stretches(decoding, assumed), key=_start) for decoding in decodings
        ]

    def of(self, start: int, stop: int) -> Span | None:
        """The frames from the first to the last that load addresses `start` up to `stop`."""
        for stretches in self._programs:
            at = max(bisect_right(stretches, start, key=_start) - 1, 0)
            spans = []
            while at < len(stretches) and stretches[at].start < stop:
                stretch = stretches[at]
                if stretch.stop > start:
                    within = max(start, stretch.start), min(stop, stretch.stop)
                    spans.append(self._part(stretch, *within))
                at += 1
            if spans:
                return Span(min(each.start for each in spans), max(each.stop for each in spans))
        return None

    def _part(self, stretch: Stretch, start: int, stop: int) -> Span:
        if stretch.frames_a_cell is None:
            return stretch.span
        before = (start - stretch.start) * stretch.frames_a_cell
        frames = (stop - start) * stretch.frames_a_cell
        if self._backwards:
            return Span(stretch.span.stop - before - frames, stretch.span.stop - before)
        return Span(stretch.span.start + before, stretch.span.start + before + frames)


def _start(stretch: Stretch) -> int:
    return stretch.start


def _stretches(decoding: Decoding, assumed: int | None) -> Iterator[Stretch]:
    """By the lines of its dump where there is one, else by the blocks that it loads."""
    if assumed is not None:
        yield Stretch(assumed, assumed + decoding.data.frames, decoding.data, 1)
        return
    rows = [line for line in decoding.listing if line.key is not None]
    if decoding.language == "basic" or not rows:
        for block in decoding.blocks:
            yield _of_block(block, decoding)
        return
    loaded = Memory(decoding.memory, decoding.cell_bytes).loaded
    for row, following in zip(rows, [*rows[1:], None], strict=True):
        yield from _of_row(loaded, row, following, decoding)


def _of_block(block: LoadedBlock, decoding: Decoding) -> Stretch:
    span = Span(block.frame, block.frame + block.frames)
    cells = block.end + 1 - block.start
    return Stretch(block.start, block.end + 1, span, _frames_a_cell(span, cells, decoding))


def _of_row(
    loaded: bytearray, row: Line, following: Line | None, decoding: Decoding
) -> Iterator[Stretch]:
    """The cells of one line of a dump: those loaded from its address to that of the next."""
    assert row.key is not None
    stop = row.key + _ROW
    if following is not None and following.key is not None and following.key > row.key:
        stop = min(stop, following.key)
    there = loaded[row.key : stop]
    first, last = there.find(1), there.rfind(1)
    if first < 0:
        return
    span = Span(row.frame, row.frame + row.frames)
    whole = last + 1 - first == there.count(1)
    closely = _frames_a_cell(span, last + 1 - first, decoding) if whole else None
    yield Stretch(row.key + first, row.key + last + 1, span, closely)


def _frames_a_cell(span: Span, cells: int, decoding: Decoding) -> int | None:
    """How many frames each of `cells` takes; None in character codes, where records have more."""
    frames, rest = divmod(span.frames, cells)
    if decoding.code is not None or rest or not 0 < frames <= _MOST_FRAMES_A_CELL:
        return None
    return frames
