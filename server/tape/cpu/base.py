"""What a processor is to the disassembler: a table that turns memory into instructions."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import ClassVar, NamedTuple, Protocol

ADDRESS_SPACE = 0x10000
"""The processors of the time address at most this many cells."""


class Flow(StrEnum):
    """Where a processor goes after an instruction."""

    NEXT = "next"
    BRANCH = "branch"
    """To the target or on, as a condition says."""
    JUMP = "jump"
    CALL = "call"
    SKIP = "skip"
    """On, or past the next instruction."""
    END = "end"
    """Back to the caller, to an address held in a register, or nowhere: not followed."""


class Operand(NamedTuple):
    """A number in an instruction: what it is, and its value.

    `kind` is 'byte', 'word', 'code' (an address that is jumped to), 'data' (one that is read
    or written), 'page zero' (the same, in one byte) or 'offset' (signed).
    """

    kind: str
    value: int


class Instruction(NamedTuple):
    """One instruction: `text` holds a {} for each of `operands`; `size` is in cells.

    `target` is where it may go besides the next instruction, None where there is no such
    place or the tape does not tell it.
    """

    address: int
    size: int
    text: str
    operands: tuple[Operand, ...] = ()
    flow: Flow = Flow.NEXT
    target: int | None = None


@dataclass(slots=True)
class Memory:
    """What a tape loads: `cells` by address, and which of them it loads.

    Addresses from `ADDRESS_SPACE` up are beyond these processors and left out. A cell is a
    byte, or a 12-bit word where `cell_bytes` is 2 (held high byte first).
    """

    runs: Mapping[int, bytes]
    cell_bytes: int = 1
    cells: list[int] = field(init=False)
    loaded: bytearray = field(init=False)

    def __post_init__(self) -> None:
        self.cells = [0] * ADDRESS_SPACE
        self.loaded = bytearray(ADDRESS_SPACE)
        for start, run in self.runs.items():
            values = _cells(run, self.cell_bytes)[: max(0, ADDRESS_SPACE - start)]
            self.cells[start : start + len(values)] = values
            self.loaded[start : start + len(values)] = b"\1" * len(values)


def _cells(run: bytes, cell_bytes: int) -> list[int]:
    if cell_bytes == 1:
        return list(run)
    return [run[at] << 8 | run[at + 1] for at in range(0, len(run) - 1, 2)]


class Processor(Protocol):
    """An instruction set; one file in this folder, registered in `server.tape.cpu`."""

    name: ClassVar[str]
    title: ClassVar[str]
    source: ClassVar[str]
    cell_bytes: ClassVar[int]
    vectors: ClassVar[tuple[int, ...]]
    """Addresses at which the processor finds the address of a routine, where loaded."""

    common: ClassVar[frozenset[int]]
    """The first cells of the instructions that programs use most, for a guess."""

    def decode(self, memory: Memory, address: int) -> Instruction | None:
        """The instruction at `address`; None where its cells are undefined or not loaded."""
        ...

    def vector(self, memory: Memory, address: int) -> int:
        """The address that the vector at `address` holds."""
        ...
