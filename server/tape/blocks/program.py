"""What the builders of block formats write: memory, an entry address, and how it is punched."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final, TypeVar

from server.tape.errors import CannotBuild
from server.tape.material import ENDS, Material, Writing

HIGHEST: Final = 0xFFFF

DIVIDES: Final = "each reel is loaded on its own, the last, which may start the program, at the end"
"""Every block says where it loads."""


@dataclass(frozen=True, slots=True)
class BlockProgram:
    """A program to be written as blocks.

    `memory` gives bytes by the address of the first of each run; the runs do not overlap.
    `block_length` is the most data bytes in a block. `gap` blank frames stand between blocks;
    `leader` and `trailer` count blank frames at either end.
    """

    memory: Mapping[int, bytes] = field(default_factory=dict)
    entry_address: int | None = None
    block_length: int = 128
    gap: int = 0
    leader: int = 60
    trailer: int = 60

    def chunks(self) -> list[tuple[int, bytes]]:
        """The data of each block with its address."""
        return [
            (start + at, data[at : at + self.block_length])
            for start, data in sorted(self.memory.items())
            for at in range(0, len(data), self.block_length)
        ]

    def check(self, *, longest: int) -> None:
        """Refuse what no block can carry; `longest` is the most data in one.

        Raises:
            CannotBuild: an address or the block length is out of bounds, or two runs of memory
                overlap.
        """
        if not 1 <= self.block_length <= longest:
            raise CannotBuild(
                f"a block cannot carry {self.block_length} bytes",
                mend=f"give a block length from 1 to {longest}",
            )
        addresses = [*self.memory, self.entry_address or 0]
        ends = [start + len(data) - 1 for start, data in self.memory.items()]
        if min(addresses) < 0 or max(*addresses, *ends, 0) > HIGHEST:
            raise CannotBuild(
                "the program lies outside the addresses 0 to FFFF",
                mend="give addresses of 16 bits",
            )
        for (low, data), (high, _) in pairwise(sorted(self.memory.items())):
            if low + len(data) > high:
                raise CannotBuild(
                    f"two runs of memory both hold address {high:04X}",
                    mend="join the runs into one",
                )

    def tape(self, records: list[bytes]) -> bytes:
        """The frames of `records` between leader and trailer."""
        return bytes(self.leader) + bytes(self.gap).join(records) + bytes(self.trailer)


Program = TypeVar("Program", bound=BlockProgram)


def block_program(kind: type[Program], material: Material, way: Writing) -> Program:
    """What a builder of blocks writes for `material`."""
    program = kind(material.memory, material.entry_address, leader=ENDS, trailer=ENDS)
    length = way.record_length
    return program if length is None else replace(program, block_length=length)
