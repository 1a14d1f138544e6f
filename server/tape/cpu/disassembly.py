"""A listing of machine code: instructions where code is reached, text and data elsewhere."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from server.tape.cpu.base import Flow, Instruction, Memory, Operand, Processor
from server.tape.cpu.descent import descend
from server.tape.cpu.notation import Notation

_CELLS_A_LINE = 8

_TEXT = re.compile(rb"[\x20-\x7e]{4,40}")
"""Fewer printing characters in a row are more often numbers than words."""

_ADDRESSES = frozenset({"code", "data", "word"})


class Statement(NamedTuple):
    """One line of a disassembly; `kind` is 'code', 'text' or 'data', `size` in cells."""

    address: int
    size: int
    kind: str
    text: str
    label: str | None = None


@dataclass(frozen=True, slots=True)
class Disassembly:
    """Statements in the order of their addresses; all data where there is no `processor`.

    `labels` names the addresses that instructions refer to; `references` gives, for each of
    them, the addresses of those instructions.
    """

    processor: str | None
    statements: tuple[Statement, ...]
    labels: Mapping[int, str]
    references: Mapping[int, tuple[int, ...]]


def undecoded(memory: Memory, notation: Notation) -> Disassembly:
    """All of `memory` as text and data, for no processor."""
    statements = tuple(_Writer(memory, notation, {}).statements({}))
    return Disassembly(None, statements, labels={}, references={})


def disassemble(
    memory: Memory,
    processor: Processor,
    entries: Iterable[int] = (),
    notation: Notation = Notation.HEX,
) -> Disassembly:
    """The code of `memory` as `processor` would run it from `entries` and its vectors.

    Where no entry is given, each run of loaded cells is entered at its beginning.
    """
    paths = descend(memory, processor, entry_points(memory, processor, entries))
    references = _references(paths.instructions.values(), memory)
    labels = {
        address: _label(address, paths.instructions, notation, memory)
        for address in sorted(references)
    }
    writer = _Writer(memory, notation, labels)
    return Disassembly(
        processor=processor.name,
        statements=tuple(writer.statements(paths.instructions)),
        labels=labels,
        references={address: tuple(sorted(found)) for address, found in references.items()},
    )


def entry_points(memory: Memory, processor: Processor, entries: Iterable[int]) -> list[int]:
    """Where a program may be entered: as told, at its vectors, or else at its beginnings."""
    known = [entry for entry in entries if 0 <= entry < len(memory.loaded)]
    known += [
        processor.vector(memory, address)
        for address in processor.vectors
        if all(memory.loaded[address : address + 2])
    ]
    return [entry for entry in known if memory.loaded[entry]] or [
        start for start in sorted(memory.runs) if start < len(memory.loaded)
    ]


def _references(instructions: Iterable[Instruction], memory: Memory) -> defaultdict[int, set[int]]:
    """Loaded addresses that instructions name, each with the addresses of the instructions."""
    references: defaultdict[int, set[int]] = defaultdict(set)
    for instruction in instructions:
        for operand in instruction.operands:
            if operand.kind in _ADDRESSES and memory.loaded[operand.value]:
                references[operand.value].add(instruction.address)
        if instruction.flow is Flow.CALL and not instruction.operands:
            assert instruction.target is not None
            if memory.loaded[instruction.target]:
                references[instruction.target].add(instruction.address)
    return references


def _label(
    address: int, instructions: Mapping[int, Instruction], notation: Notation, memory: Memory
) -> str:
    letter = "L" if address in instructions else "D"
    return letter + notation.address(address, memory.cell_bytes).replace(" ", "_")


@dataclass(frozen=True, slots=True)
class _Writer:
    memory: Memory
    notation: Notation
    labels: Mapping[int, str]

    def statements(self, instructions: Mapping[int, Instruction]) -> Iterator[Statement]:
        """Every loaded cell in one statement: an instruction, or text or data between them."""
        for start, stop in _loaded_runs(self.memory):
            address = start
            while address < stop:
                instruction = instructions.get(address)
                if instruction is not None:
                    yield self._code(instruction)
                    address += instruction.size
                    continue
                end = address + 1
                while end < stop and end not in instructions:
                    end += 1
                yield from self._no_code(address, end)
                address = end

    def _code(self, instruction: Instruction) -> Statement:
        operands = (self._operand(operand) for operand in instruction.operands)
        text = instruction.text.format(*operands)
        label = self.labels.get(instruction.address)
        return Statement(instruction.address, instruction.size, "code", text, label)

    def _operand(self, operand: Operand) -> str:
        if operand.kind == "offset":
            return f"{operand.value:+d}"
        if operand.kind in _ADDRESSES:
            named = self.labels.get(operand.value)
            return named or self.notation.address(operand.value, self.memory.cell_bytes)
        return self.notation.cell(operand.value)

    def _no_code(self, address: int, end: int) -> Iterator[Statement]:
        # A label must stand at the beginning of a statement, so that it can be seen.
        cuts = [at for at in range(address + 1, end) if at in self.labels]
        for start, stop in pairwise([address, *cuts, end]):
            done = start
            for first, last in self._texts(start, stop):
                yield from self._data(done, first)
                if last > first:
                    yield self._text(first, last)
                done = last

    def _texts(self, start: int, stop: int) -> Iterator[tuple[int, int]]:
        """Spans of readable text; an empty one at `stop` closes them."""
        if self.memory.cell_bytes == 1:
            cells = bytes(self.memory.cells[start:stop])
            for match in _TEXT.finditer(cells):
                yield start + match.start(), start + match.end()
        yield stop, stop

    def _text(self, address: int, stop: int) -> Statement:
        shown = bytes(self.memory.cells[address:stop]).decode("ascii")
        label = self.labels.get(address)
        return Statement(address, stop - address, "text", f'"{shown}"', label)

    def _data(self, address: int, stop: int) -> Iterator[Statement]:
        for at in range(address, stop, _CELLS_A_LINE):
            cells = self.memory.cells[at : min(at + _CELLS_A_LINE, stop)]
            shown = " ".join(self.notation.cell(cell, self.memory.cell_bytes) for cell in cells)
            yield Statement(at, len(cells), "data", shown, self.labels.get(at))


def _loaded_runs(memory: Memory) -> Iterator[tuple[int, int]]:
    stop = 0
    while (start := memory.loaded.find(1, stop)) >= 0:
        stop = memory.loaded.find(0, start)
        stop = len(memory.loaded) if stop < 0 else stop
        yield start, stop
