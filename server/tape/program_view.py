"""A program in memory as a person reads it: as instructions, in the notation of its machine.

The processor is guessed from the code itself, or set by hand; each statement keeps the frames that
loaded it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from server.tape.cpu import PROCESSORS
from server.tape.cpu.base import ADDRESS_SPACE, Memory
from server.tape.cpu.disassembly import Disassembly, Statement, disassemble, undecoded
from server.tape.cpu.guess import Guess, guess_processor
from server.tape.cpu.notation import Notation
from server.tape.cpu.placing import place_code
from server.tape.formats.base import Decoding
from server.tape.formats.raw_binary import RawBinary
from server.tape.formats.unrecognised import Unrecognised
from server.tape.identify import Decoded
from server.tape.listing import Line, Listing
from server.tape.machine_frames import MachineFrames
from server.tape.machine_notation import writing_of
from server.tape.parts import merged

_BASIC: Final = "basic"

BARE: Final = frozenset({RawBinary.name, Unrecognised.name})
"""Formats whose frames are bytes of memory, if anything; what the second holds nobody knows, so
that no processor is guessed for it."""


class CodeRow(NamedTuple):
    """A statement, what its cells hold in figures, and the frames that loaded it.

    `frames` is 0 where the decoding does not tell them.
    """

    statement: Statement
    address: str
    cells: str
    frame: int
    frames: int


@dataclass(frozen=True, slots=True)
class MachineCode:
    """A program in memory, statement by statement.

    `processor` is the name of the one that it is read for, None where none was set and none is
    likely: then all is data. `guess` is what the code itself says, whatever was set by hand.
    `assumed_address` is where a program is shown whose tape does not say where it is loaded.
    """

    processor: str | None
    guess: Guess | None
    notation: Notation
    cell_bytes: int
    assumed_address: int | None
    disassembly: Disassembly
    rows: tuple[CodeRow, ...]

    @property
    def targets(self) -> Mapping[int, int]:
        """The address that each instruction names, by its own, where the tape loads both."""
        references = self.disassembly.references
        return {at: named for named, places in references.items() for at in places}

    @property
    def heading(self) -> str:
        """What the code is read for, and why."""
        if self.processor is None:
            return "no processor is likely, so all of it is shown as data"
        if self.guess is not None and self.guess.processor == self.processor:
            return f"{self.processor}, {self.guess.likelihood:.0%} likely: {self.guess.reason}"
        likelier = f"; {self.guess.processor} is likelier" if self.guess else ""
        return f"{self.processor}, set by hand{likelier}"

    @property
    def listing(self) -> Listing:
        """A line a statement: address, cells, label, statement; the key is the address."""
        widest = max((len(row.cells) for row in self.rows), default=0)
        labels = max((len(label) for label in self.disassembly.labels.values()), default=0)
        return Listing(
            tuple(
                Line(
                    f"{row.address}  {row.cells:{widest}}  {row.statement.label or '':{labels}}  "
                    f"{row.statement.text}",
                    row.frame,
                    row.frames,
                    row.statement.address,
                )
                for row in self.rows
            )
        )


class _Program(NamedTuple):
    """What `decodings` load: memory, where it is entered, and whether it may hold code.

    `assumed` is the address that a tape was given here which does not say where it is loaded.
    """

    decodings: tuple[Decoding, ...]
    memory: Mapping[int, bytes]
    cell_bytes: int
    entries: tuple[int, ...]
    may_be_code: bool
    assumed: int | None = None


def guess_of(decoded: Decoded) -> Guess | None:
    """The processor that the code on the tape is for; None where none is likely, or no code."""
    program = _program(decoded)
    return _guess(program) if program else None


def machine_code(
    decoded: Decoded, processor: str | None = None, notation: Notation | None = None
) -> MachineCode | None:
    """What the tape loads, as the code of `processor` or of the one that is likeliest.

    Without a `notation`, numbers are written as the people of the machine wrote them. None where
    the tape loads nothing at an address that these processors have.

    Raises:
        KeyError: no processor of that name is known for cells of this size.
    """
    program = _program(decoded)
    if program is None:
        return None
    memory = Memory(program.memory, program.cell_bytes)
    if not any(memory.loaded):
        return None
    guess = _guess(program)
    chosen = processor or (guess.processor if guess else None)
    if chosen is not None and chosen not in processors_for(program.cell_bytes):
        raise KeyError(chosen)
    notation = notation or writing_of(program.decodings[0].format, chosen).notation
    frames = MachineFrames(
        program.decodings, program.assumed, backwards=decoded.orientation.runs_backwards
    )
    disassembly = (
        disassemble(memory, PROCESSORS[chosen], program.entries, notation)
        if chosen
        else undecoded(memory, notation)
    )
    return MachineCode(
        processor=chosen,
        guess=guess,
        notation=notation,
        cell_bytes=program.cell_bytes,
        assumed_address=program.assumed,
        disassembly=disassembly,
        rows=tuple(_rows(disassembly, memory, notation, frames)),
    )


def processors_for(cell_bytes: int) -> tuple[str, ...]:
    """The names of the processors whose cells have so many bytes."""
    return tuple(name for name, each in PROCESSORS.items() if each.cell_bytes == cell_bytes)


def _program(decoded: Decoded) -> _Program | None:
    """The programs with addresses, those that are no BASIC first; else frames without a format."""
    found = [part.decoding for part in decoded.parts if part.decoding]
    loading = [each for each in found if each.memory]
    code = [each for each in loading if each.language != _BASIC] or loading
    if not code:
        return _without_addresses(found)
    alike = tuple(each for each in code if each.cell_bytes == code[0].cell_bytes)
    return _Program(
        decodings=alike,
        memory=merged(alike).memory,
        cell_bytes=alike[0].cell_bytes,
        entries=tuple(each.entry_address for each in alike if each.entry_address is not None),
        may_be_code=alike[0].language != _BASIC,
    )


def _without_addresses(found: Sequence[Decoding]) -> _Program | None:
    """The longest stretch of frames without a format, placed where its own jumps fit."""
    bare = [each for each in found if each.format in BARE and each.content]
    if not bare:
        return None
    longest = max(bare, key=lambda each: len(each.content))
    may_be_code = longest.format == RawBinary.name
    code = np.frombuffer(longest.content, np.uint8)[:ADDRESS_SPACE]
    start = place_code(code).base if may_be_code else 0
    return _Program((longest,), {start: longest.content}, 1, (start,), may_be_code, start)


def _guess(program: _Program) -> Guess | None:
    if not program.may_be_code:
        return None
    return guess_processor(program.memory, program.entries, program.cell_bytes)


def _rows(
    disassembly: Disassembly, memory: Memory, notation: Notation, frames: MachineFrames
) -> Iterator[CodeRow]:
    for each in disassembly.statements:
        stop = each.address + each.size
        span = frames.of(each.address, stop)
        cells = memory.cells[each.address : stop]
        yield CodeRow(
            statement=each,
            address=notation.address(each.address, memory.cell_bytes),
            cells=" ".join(notation.cell(cell, memory.cell_bytes) for cell in cells),
            frame=span.start if span else 0,
            frames=span.frames if span else 0,
        )
