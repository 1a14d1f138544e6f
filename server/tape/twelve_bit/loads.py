"""What words of twelve bits load, in stretches whose frames follow one another."""

from typing import NamedTuple

import numpy as np

from server.tape.dump import Integers
from server.tape.loading import Loads
from server.tape.twelve_bit.frames import Booleans

FIELD_WORDS = 0o10000
"""Words a field holds; addresses of a higher field follow those of the one below."""


class Words(NamedTuple):
    """Words in the order of the tape, arrays of one length.

    `frames` is the first frame of each, `addresses` where it is loaded, field included.
    """

    values: Integers
    addresses: Integers
    frames: Integers
    damaged: Booleans

    def only(self, which: Booleans) -> "Words":
        """Those that `which` picks."""
        return Words(
            self.values[which], self.addresses[which], self.frames[which], self.damaged[which]
        )


def loads_of(words: Words, frames_a_word: int) -> Loads:
    """`words` in stretches: each goes on in memory, on the tape, and in whether it is damaged."""
    values = words.values.astype(np.uint16)
    count = values.size
    goes_on = (
        (np.diff(words.addresses) == 1)
        & (np.diff(words.frames) == frames_a_word)
        & (words.damaged[1:] == words.damaged[:-1])
    )
    first = np.append(0, np.flatnonzero(~goes_on) + 1)[:count]
    last = np.append(first[1:], count)[: first.size] - 1
    return Loads(
        values,
        first.astype(np.int64),
        last - first + 1,
        words.addresses[first],
        np.arange(first.size),
        words.frames[first],
        words.frames[last] + frames_a_word,
        words.damaged[first],
    )
