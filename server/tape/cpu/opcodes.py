"""Byte-wide instruction sets as tables: rows of text to opcodes, opcodes to instructions."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from server.tape.cpu.base import Flow, Instruction, Memory, Operand


class OperandForm(NamedTuple):
    """How an operand of a table lies in memory and is written.

    `kind` as in `Operand`, or 'relative' (signed, from the next instruction) or 'offset'
    (signed, written with its sign).
    """

    kind: str
    size: int
    shown: str = "{}"


class Opcode(NamedTuple):
    """One entry of a table: a template with a {} for each form, and where it goes."""

    text: str
    forms: tuple[OperandForm, ...]
    flow: Flow
    fixed_target: int | None = None


Page = Mapping[int, Opcode]


@dataclass(frozen=True, slots=True)
class Grammar:
    """How the rows of one processor's table are to be read.

    `forms` names the operands; `flows` gives, for a mnemonic or a whole entry, where it goes
    when that is not the next instruction; `code_address` names the forms that are addresses of
    code when the entry goes there.
    """

    forms: Mapping[str, OperandForm]
    flows: Mapping[str, Flow]

    def page(self, rows: str) -> dict[int, Opcode]:
        """The opcodes of `rows`: each row an opcode in hex, a colon, entries between bars."""
        opcodes: dict[int, Opcode] = {}
        for row in rows.strip().splitlines():
            first, entries = row.split(":", 1)
            for offset, entry in enumerate(entries.split(" | ")):
                if entry.strip() not in {"-", "*"}:
                    opcodes[int(first, 16) + offset] = self.opcode(entry.strip())
        return opcodes

    def opcode(self, entry: str) -> Opcode:
        """One entry, such as 'LXI B,d16'."""
        flow = self.flows.get(entry) or self.flows.get(entry.partition(" ")[0], Flow.NEXT)
        forms: list[OperandForm] = []

        def placed(match: re.Match[str]) -> str:
            form = self.forms[match[0]]
            goes_there = flow in (Flow.BRANCH, Flow.JUMP, Flow.CALL)
            forms.append(form._replace(kind="code") if goes_there and form.kind == "word" else form)
            return form.shown

        text = _operand_pattern(tuple(self.forms)).sub(placed, entry)
        return Opcode(text, tuple(forms), flow)


def _operand_pattern(names: tuple[str, ...]) -> re.Pattern[str]:
    """The names, longest first, where they stand alone and are not part of a longer word."""
    longest_first = sorted(names, key=len, reverse=True)
    return re.compile(
        "|".join(
            (r"(?<![A-Za-z0-9#])" if name[0].isalnum() else "") + re.escape(name) + r"(?!\w)"
            for name in longest_first
        )
    )


@dataclass(frozen=True, slots=True)
class OpcodeTable:
    """The pages of one processor, by their prefix bytes; the first page has none.

    On the pages named in `offset_first` the operands stand before the opcode.
    """

    pages: Mapping[bytes, Page]
    big_endian: bool = False
    offset_first: frozenset[bytes] = frozenset()

    def decode(self, memory: Memory, address: int) -> Instruction | None:
        """The instruction at `address`; None where undefined or not wholly loaded."""
        cells = memory.cells
        prefix = b""
        at = address
        while at < len(cells) and (longer := prefix + bytes((cells[at],))) in self.pages:
            prefix, at = longer, at + 1
        before = int(prefix in self.offset_first)
        if at + before >= len(cells):
            return None
        opcode = self.pages[prefix].get(cells[at + before])
        if opcode is None:
            return None
        return self._instruction(opcode, memory, address, at + 1 - before, before)

    def _instruction(
        self, opcode: Opcode, memory: Memory, address: int, operands_at: int, after: int
    ) -> Instruction | None:
        """`opcode` with its operands at `operands_at`, and `after` more cells behind them."""
        end = operands_at + sum(form.size for form in opcode.forms) + after
        if end > len(memory.cells) or not all(memory.loaded[address:end]):
            return None
        operands = []
        target = opcode.fixed_target
        at = operands_at
        for form in opcode.forms:
            operand = _operand(form, self._number(memory.cells[at : at + form.size]), end)
            operands.append(operand)
            target = operand.value if operand.kind == "code" else target
            at += form.size
        return Instruction(
            address, end - address, opcode.text, tuple(operands), opcode.flow, target
        )

    def _number(self, cells: list[int]) -> int:
        return int.from_bytes(cells, "big" if self.big_endian else "little")

    def word(self, memory: Memory, address: int) -> int:
        """The 16-bit number at `address`."""
        return self._number(memory.cells[address : address + 2])


def _operand(form: OperandForm, value: int, following: int) -> Operand:
    if form.kind == "relative":
        return Operand("code", (following + _signed(value)) & 0xFFFF)
    if form.kind == "offset":
        return Operand("offset", _signed(value))
    return Operand(form.kind, value)


def _signed(byte: int) -> int:
    return byte - 256 if byte > 127 else byte
