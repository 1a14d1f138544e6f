"""Words that each stand behind their own origin: four frames, the first with channel 7."""

from dataclasses import dataclass

import numpy as np

from server.tape.dump import Integers
from server.tape.twelve_bit.frames import Program
from server.tape.twelve_bit.loads import Words

GROUP = 4
"""Frames of a word: origin high and low, word high and low, six bits each."""


@dataclass(frozen=True, slots=True)
class Groups:
    """The groups of a program, from each origin to the next.

    `firsts` index the frames of the program, `sizes` counts those of each group; `whole`
    tells of which size is right and no frame flawed.
    """

    firsts: Integers
    sizes: Integers
    flawed: Integers

    @property
    def fitting(self) -> Integers:
        """The groups of four frames."""
        return np.flatnonzero(self.sizes == GROUP)

    @property
    def share(self) -> float:
        """How many of the groups, 0 to 1, have four frames, none of them flawed."""
        if not self.sizes.size:
            return 0.0
        return float(np.mean((self.sizes == GROUP) & (self.flawed == 0)))


def groups_of(program: Program) -> Groups:
    """The groups of `program`; frames before its first origin belong to none."""
    firsts = np.flatnonzero(program.origin).astype(np.int64, copy=False)
    sizes = np.diff(firsts, append=len(program))
    flaws = np.append(0, np.cumsum(program.flawed | program.field, dtype=np.int32))
    return Groups(firsts, sizes, flaws[firsts + sizes] - flaws[firsts])


def words_of(program: Program, groups: Groups) -> Words:
    """The words of the groups of four frames."""
    which = groups.fitting
    at = groups.firsts[which]
    six = program.six
    return Words(
        six[at + 2] << 6 | six[at + 3],
        six[at] << 6 | six[at + 1],
        program.at[at],
        groups.flawed[which] > 0,
    )
