"""How sure it is that a tape is made of blocks: from a bounded stretch of it, in bits.

A mark that stands where the block before it says is so many bits that chance would have had to
hit, and a checksum that closes is eight more, fewer where that byte is common on the tape; a
search through many marks costs what it gained.
"""

from math import log2
from typing import Final, NamedTuple

import numpy as np

from server.tape.blocks.damage import Damage, Harm
from server.tape.blocks.layout import Layout, Tape
from server.tape.blocks.walk import FindSpecial, Special, Walked, Walker
from server.tape.image import Frames, Span

WINDOW: Final = 1 << 16
"""Frames that are looked at: more than most tapes have, less than all of a long one."""

ALL_CLOSE, MOST_CLOSE, SHAPE_ONLY, CHANCE = 0.995, 0.99, 0.9, 0.2
_ENOUGH, _ENOUGH_WITHOUT_CHECKSUM = 20.0, 22.0
"""Bits below which chance is not excluded: once in one million, and once in four."""

_COUNT_TO_THE_END: Final = 8.0
_ONE_OF_THREE = log2(3)
_MOST_BEFORE: Final = 0.75
_NOTHING_PROVED = frozenset({Harm.STRAY, Harm.PASSED_OVER, Harm.LENGTH, Harm.TRUNCATED})


class Weighed(NamedTuple):
    """How sure (0 to 1) it is that these are blocks, how many bits say so, and words for it."""

    confidence: float
    bits: float
    reason: str


NOTHING: Final = Weighed(0.0, 0.0, "no block is found")


def weigh(array: Frames, data: Span, layout: Layout, special: FindSpecial) -> Weighed:
    """How sure it is that the frames from `data` on, of `array`, are blocks of that layout."""
    part = array[data.start : data.start + WINDOW]
    tape = Tape(part, layout, min(data.frames, part.size))
    walker = Walker(tape, special)
    start = walker.start(0)
    if start is None:
        return NOTHING
    walked = walker.walk(start)
    bits = _bits(walked, tape, start)
    return _weighed(walked, tape, start, bits, cut=data.frames > part.size)


def _bits(walked: Walked, tape: Tape, start: int) -> float:
    shaped = sum(each.harm not in _NOTHING_PROVED for each in walked.damages)
    blocks = len(walked.chosen) + shaped
    frequent = _Frequency(tape, blocks)
    mark = frequent.mark
    bits = mark * blocks + frequent.checksums(walked)
    bits += sum(frequent.special(each) for each in walked.specials)
    bits -= _ONE_OF_THREE * walked.slips
    searched = [*walked.searched, (0, start)] if start else walked.searched
    for begin, end in searched:
        first, last = tape.marks.searchsorted((begin, end))
        # The mark itself was looked for, so only the checksum speaks for what was found.
        bits -= mark + 1 + log2(1 + last - first)
    if walked.ending_block is not None:
        bits += frequent.count(walked.ending_block)
    return bits + _COUNT_TO_THE_END * (_reached(walked, tape) >= tape.stop)


class _Frequency:
    """How many bits it says that a frame stands where it should: fewer, the commoner it is.

    What the blocks themselves explain does not make their marks common; of a short tape it is
    taken that its frames are as common as on any other.
    """

    def __init__(self, tape: Tape, blocks: int) -> None:
        self.tape = tape
        self.size = tape.stop + 256
        counts = np.maximum(np.bincount(tape.array[: tape.stop], minlength=256), 1)
        self.frames = np.minimum(np.log2(self.size / counts), 8.0)
        stray = max(tape.marks.size - blocks, 0)
        self.mark = min(8.0 * len(tape.layout.mark), log2(self.size / (1 + stray)))

    def checksums(self, walked: Walked) -> float:
        """Bits of the checksums of all sound blocks."""
        last = self.tape.array[self.tape.blocks.stops[walked.chosen] - 1]
        return float(self.frames[last].sum())

    def count(self, block: int) -> float:
        """Bits of the count of a block, where one count alone would do."""
        at = int(self.tape.blocks.starts[block]) + self.tape.layout.count_at
        return float(self.frames[self.tape.array[at : at + self.tape.layout.count_bytes]].sum())

    def special(self, special: Special) -> float:
        """Bits of the first frame of a name, and of its text, or of another record."""
        first = float(self.frames[self.tape.array[special.start]])
        return first + 8.0 * bool(special.text)


def _reached(walked: Walked, tape: Tape) -> int:
    """How far the blocks reach that are as long as they say."""
    if walked.end:
        return walked.end.stop
    shaped = (each.stop for each in walked.damages if each.harm not in _NOTHING_PROVED)
    return max(*shaped, walked.last_stop(tape), 0, 0)


def _weighed(walked: Walked, tape: Tape, start: int, bits: float, *, cut: bool) -> Weighed:
    sound = len(walked.chosen)
    damages = walked.damages[: len(walked.damages) - (cut and walked.end is None)]
    blocks = sound + sum(each.loads for each in damages)
    reason = (
        f"{sound} of the first {blocks} blocks close; marks, counts and checksums would meet "
        f"like this by chance once in 2 to the {max(bits, 0.0):.0f}"
    )
    if bits < _ENOUGH or (not sound and bits < _ENOUGH_WITHOUT_CHECKSUM):
        return Weighed(CHANCE, bits, reason)
    # In a view that is mirrored marks and counts may still meet; checksums tell it apart.
    sure = SHAPE_ONLY + (MOST_CLOSE - SHAPE_ONLY) * sound / max(blocks, 1)
    if sound and not damages:
        sure = ALL_CLOSE
    if start > _MOST_BEFORE * tape.stop:
        # What is chiefly something else may hold a few blocks; let it be read as that first.
        sure = min(sure, SHAPE_ONLY)
    stray = _stray_share(damages, tape, start)
    return Weighed(sure * (1 - stray / 2), bits, reason)


def _stray_share(damages: list[Damage], tape: Tape, start: int) -> float:
    """Which share of the frames belongs to no block at all."""
    stray = sum(
        each.stop - each.start for each in damages if each.harm in (Harm.STRAY, Harm.PASSED_OVER)
    )
    return stray / max(tape.stop - start, 1)
