"""From block to block along a tape, over blank frames, and on at the next one after damage."""

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from server.tape.blocks.damage import Damage, Harm, examine
from server.tape.blocks.layout import Booleans, Integers, Tape

_LONGEST_NAME: Final = 128
"""Frames before the first block in which a record may stand that names the program."""

MOST_DAMAGES: Final = 1000
"""How many stretches without a sound block are looked into; those after them are passed over."""


class Special(NamedTuple):
    """Frames `start` up to `stop` that are no block: a name, or the end of the program."""

    start: int
    stop: int
    ends: bool
    text: str = ""
    address: int | None = None


FindSpecial = Callable[[bytes, int], Special | None]


@dataclass(slots=True)
class Walked:
    """What a walk met, in the order of the tape.

    `chosen` are the sound blocks, as indexes into `Tape.blocks`. `searched` gives the frames
    from where to where the next sound block had to be searched for; every other block begins
    where what stands before it says, but for the `slips` that are a frame off. `end` is the
    block, or the special, that ends the program.
    """

    chosen: list[int] = field(default_factory=list)
    damages: list[Damage] = field(default_factory=list)
    specials: list[Special] = field(default_factory=list)
    searched: list[tuple[int, int]] = field(default_factory=list)
    slips: int = 0
    end: Special | None = None
    ending_block: int | None = None

    def last_start(self, tape: Tape) -> int:
        """Where the last of the sound blocks begins; 0 where there are none."""
        return int(tape.blocks.starts[self.chosen[-1]]) if self.chosen else 0

    def last_stop(self, tape: Tape) -> int:
        """Where the last of the sound blocks ends; 0 where there are none."""
        return int(tape.blocks.stops[self.chosen[-1]]) if self.chosen else 0


class Walker:
    """Walks a tape; `special` says what stands at a frame where no block begins."""

    def __init__(self, tape: Tape, special: FindSpecial) -> None:
        self.tape = tape
        self.special = special
        blocks = tape.blocks
        after = tape.over_blanks(blocks.stops)
        following = np.searchsorted(blocks.starts, after)
        lands = np.append(blocks.starts, -1)[following] == after
        self._jumps = np.where(lands & ~blocks.ending, following, -1)
        self._final = self._find_final()
        borne_out = lands | blocks.ending | (after >= tape.stop) | self._marked(after)
        borne_out |= after == self._final
        self._starts = blocks.starts
        self._borne_out = np.flatnonzero(borne_out)
        self._following = following
        self._sure = blocks.starts[borne_out]

    def _marked(self, at: Integers) -> Booleans:
        """Whether the mark of a block stands at each of `at`."""
        mark, array = self.tape.layout.mark, self.tape.array
        inside = at + len(mark) <= array.size
        found = inside.copy()
        for place, byte in enumerate(mark):
            found[inside] &= array[at[inside] + place] == byte
        return found

    def start(self, begin: int) -> int | None:
        """Where the first block stands, whole or not, at or after frame `begin`."""
        tape = self.tape
        at = tape.next_punched(begin)
        special = self.special(tape.frames, at)
        if self._block_at(at) is not None or (special and not special.ends):
            return at
        if tape.layout.is_head(tape.frames, at) and self._slip(at) is not None:
            return at
        if self._long_mark_at(at):
            return at
        first = self._next_sure(at)
        if first is not None:
            harm = examine(tape.frames, at, first, tape.layout, torn=False).harm
            return self._name_before(first) if harm in (Harm.STRAY, Harm.LENGTH) else at
        return None

    def _long_mark_at(self, at: int) -> bool:
        """Whether a mark that is no single frame stands at `at`, give or take a hole."""
        mark = self.tape.layout.mark
        read = self.tape.frames[at : at + len(mark)]
        if len(mark) < 2 or len(read) < len(mark):
            return False
        return sum((a ^ b).bit_count() for a, b in zip(mark, read, strict=True)) <= 1

    def _name_before(self, block: int) -> int:
        """Where the name in front of the block at `block` begins, or `block` itself."""
        for at in range(block - 1, max(block - _LONGEST_NAME, -1), -1):
            found = self.special(self.tape.frames, at)
            if found and not found.ends and self.tape.next_punched(found.stop) == block:
                return at
        return block

    def walk(self, at: int) -> Walked:
        """From frame `at`, where a block begins, to the end of the program or the tape."""
        walked = Walked()
        jumps = self._jumps.tolist()
        while at < self.tape.stop and walked.end is None:
            block = self._block_at(at)
            if len(walked.damages) + len(walked.specials) >= MOST_DAMAGES:
                self._pass_over(walked, at)
                break
            at = self._step(walked, at) if block is None else self._run(walked, block, jumps)
            at = self.tape.next_punched(at)
        return walked

    def _run(self, walked: Walked, block: int, jumps: list[int]) -> int:
        """Sound blocks, each beginning where the one before it ended; returns their end."""
        chosen = walked.chosen
        while True:
            chosen.append(block)
            following = jumps[block]
            if following < 0:
                break
            block = following
        blocks = self.tape.blocks
        start, stop = int(blocks.starts[block]), int(blocks.stops[block])
        if blocks.ending[block]:
            address = self.tape.layout.address(self.tape.frames, start)
            walked.end = Special(start, stop, ends=True, address=address)
            walked.ending_block = block
        return stop

    def _step(self, walked: Walked, at: int) -> int:
        """Over what is no sound block; returns where it ends."""
        found = self.special(self.tape.frames, at)
        if found:
            walked.specials.append(found)
            if found.ends:
                walked.end = found
            return found.stop
        damage = self._damage(walked, at)
        walked.damages.append(damage)
        layout = self.tape.layout
        is_end = damage.harm is Harm.MISMATCH and damage.size == (layout.ends or 0) + layout.beyond
        if is_end and damage.stop >= self.tape.stop:
            address = layout.address(self.tape.frames, at)
            walked.end = Special(at, damage.stop, ends=True, address=address)
        return damage.stop

    def _pass_over(self, walked: Walked, at: int) -> None:
        """All sound blocks from `at` on, whatever stands between them."""
        count = self._borne_out.size
        onward = np.searchsorted(self._borne_out, self._following)
        onward[self.tape.blocks.ending] = count
        following = np.append(self._borne_out, -1)[onward].tolist()
        first = int(np.searchsorted(self._sure, at))
        block = int(self._borne_out[first]) if first < count else -1
        if block >= 0:
            self._run(walked, block, following)
        stop = walked.end.stop if walked.end else self.tape.stop
        walked.damages.append(Damage(Harm.PASSED_OVER, at, stop))

    def _damage(self, walked: Walked, at: int) -> Damage:
        tape = self.tape
        stop = self._slip(at)
        if stop is None:
            stop = self._next_sure(at + 1)
            if stop is None:
                stop = self._final if at < self._final else tape.stop
            walked.searched.append((at, stop))
        else:
            walked.slips += 1
        if stop < tape.stop:
            return examine(tape.frames, at, stop, tape.layout, torn=False)
        if tape.layout.is_head(tape.frames, at):
            stop = max(stop, at + (tape.layout.size(tape.frames, at) or 0))
        return examine(tape.frames, at, min(stop, len(tape.frames)), tape.layout, torn=True)

    def _slip(self, at: int) -> int | None:
        """Where the block whose head stands at `at` ends, give or take one frame.

        None where no block begins there.
        """
        size = self.tape.layout.size(self.tape.frames, at)
        if size is None or not self.tape.layout.is_head(self.tape.frames, at):
            return None
        for stop in (at + size, at + size - 1, at + size + 1):
            if stop <= len(self.tape.frames) and self._lands(stop):
                return self.tape.next_punched(stop)
        return None

    def _lands(self, at: int) -> bool:
        """Whether a block, or the end of the tape, follows at `at`."""
        at = self.tape.next_punched(at)
        if at >= self.tape.stop:
            # A block that reaches over the record which ends the program has lost frames.
            return self._final < 0
        if self._block_at(at) is not None:
            return True
        frames = self.tape.frames
        return self.tape.layout.is_head(frames, at) or self.special(frames, at) is not None

    def _find_final(self) -> int:
        """Where the special that ends the program stands at the end of the tape; -1 if nowhere."""
        frames, stop = self.tape.frames, self.tape.stop
        for start in range(max(0, stop - 3), stop):
            found = self.special(frames, start)
            if found and found.ends and found.stop >= stop:
                return start
        return -1

    def _block_at(self, at: int) -> int | None:
        block = bisect_left(self._starts, at)
        return block if block < self._starts.size and self._starts[block] == at else None

    def _next_sure(self, at: int) -> int | None:
        block = int(np.searchsorted(self._sure, at))
        return int(self._sure[block]) if block < self._sure.size else None
