"""What the builders of 12-bit formats write: words, where they go, and how they are punched."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

from server.tape.errors import CannotBuild
from server.tape.twelve_bit.frames import LEADER, RUB_OUT
from server.tape.twelve_bit.loads import FIELD_WORDS

_HIGHEST_WORD: Final = 0o7777

DIVIDES: Final = "each reel is loaded on its own: it begins with an origin"


@dataclass(frozen=True, slots=True)
class WordProgram:
    """A program to be written as words of twelve bits.

    `memory` gives words by the address of the first of each run, two bytes a word, high byte
    first; addresses of field 1 begin at 10000 octal; runs do not overlap. `comment` is punched
    between rub-outs. `leader` and `trailer` count leader frames, two at least.
    """

    memory: Mapping[int, bytes] = field(default_factory=dict)
    comment: str = ""
    leader: int = 60
    trailer: int = 60

    def words(self) -> Iterator[tuple[int, int]]:
        """Every word with its address, addresses rising."""
        for start, data in sorted(self.memory.items()):
            for at in range(0, len(data), 2):
                yield start + at // 2, data[at] << 8 | data[at + 1]

    def check(self, *, fields: int) -> None:
        """Refuse what cannot be punched for a machine of `fields` fields.

        Raises:
            CannotBuild: a word, an address or the leader is out of bounds, two runs overlap, or
                the comment holds what cannot stand between rub-outs.
        """
        for start, data in self.memory.items():
            if start < 0 or start + len(data) // 2 > fields * FIELD_WORDS:
                raise CannotBuild(
                    f"the program lies outside the addresses 0 to {fields * FIELD_WORDS - 1:o}",
                    mend="give addresses that the format has",
                )
            if len(data) % 2 or max(data[::2], default=0) > _HIGHEST_WORD >> 8:
                raise CannotBuild(
                    f"what is to be loaded at {start:04o} is not words of twelve bits",
                    mend="give two bytes for each word, the high one below 16",
                )
        for (low, data), (high, _) in pairwise(sorted(self.memory.items())):
            if low + len(data) // 2 > high:
                raise CannotBuild(
                    f"two runs of memory both hold address {high:04o}",
                    mend="join the runs into one",
                )
        if min(self.leader, self.trailer) < 2 or not self.memory:
            raise CannotBuild(
                "the loader needs a word to load, and leader frames on both sides",
                mend="give one word, and two leader frames before and after it, at least",
            )
        if not (self.comment.isascii() and self.comment.isprintable()):
            raise CannotBuild(
                "a comment holds printing characters of ISO 646 only",
                mend="leave the others out",
            )

    def tape(self, frames: bytes) -> bytes:
        """`frames` between leader and trailer, the comment in front of them."""
        comment = b""
        if self.comment:
            comment = bytes([RUB_OUT]) + self.comment.encode("ascii") + bytes([RUB_OUT])
        leader = bytes([LEADER])
        return leader * self.leader + comment + frames + leader * self.trailer


def pair(word: int, marks: int = 0) -> bytes:
    """The two frames of `word`, the first with `marks` as well."""
    return bytes([word >> 6 & 0o77 | marks, word & 0o77])
