"""The Z80.

Source: Zilog, Z80 CPU User Manual, from memory; every documented code is checked against a
disassembly library of the registry in tests/outside. Undocumented codes are left undefined.
"""

from typing import ClassVar, Final

from server.tape.cpu.base import Flow, Instruction, Memory
from server.tape.cpu.opcodes import Grammar, Opcode, OpcodeTable, OperandForm, Page

_REGISTERS: Final = "B C D E H L (HL) A".split()
_ARITHMETIC: Final = ("ADD A,", "ADC A,", "SUB ", "SBC A,", "AND ", "XOR ", "OR ", "CP ")
_ROTATIONS: Final = ("RLC", "RRC", "RL", "RR", "SLA", "SRA", "-", "SRL")

_ROWS: Final = """
00: NOP | LD BC,nn | LD (BC),A | INC BC | INC B | DEC B | LD B,n | RLCA
08: EX AF,AF' | ADD HL,BC | LD A,(BC) | DEC BC | INC C | DEC C | LD C,n | RRCA
10: DJNZ e | LD DE,nn | LD (DE),A | INC DE | INC D | DEC D | LD D,n | RLA
18: JR e | ADD HL,DE | LD A,(DE) | DEC DE | INC E | DEC E | LD E,n | RRA
20: JR NZ,e | LD HL,nn | LD (nn),HL | INC HL | INC H | DEC H | LD H,n | DAA
28: JR Z,e | ADD HL,HL | LD HL,(nn) | DEC HL | INC L | DEC L | LD L,n | CPL
30: JR NC,e | LD SP,nn | LD (nn),A | INC SP | INC (HL) | DEC (HL) | LD (HL),n | SCF
38: JR C,e | ADD HL,SP | LD A,(nn) | DEC SP | INC A | DEC A | LD A,n | CCF
C0: RET NZ | POP BC | JP NZ,nn | JP nn | CALL NZ,nn | PUSH BC | ADD A,n | RST 00
C8: RET Z | RET | JP Z,nn | - | CALL Z,nn | CALL nn | ADC A,n | RST 08
D0: RET NC | POP DE | JP NC,nn | OUT (n),A | CALL NC,nn | PUSH DE | SUB n | RST 10
D8: RET C | EXX | JP C,nn | IN A,(n) | CALL C,nn | - | SBC A,n | RST 18
E0: RET PO | POP HL | JP PO,nn | EX (SP),HL | CALL PO,nn | PUSH HL | AND n | RST 20
E8: RET PE | JP (HL) | JP PE,nn | EX DE,HL | CALL PE,nn | - | XOR n | RST 28
F0: RET P | POP AF | JP P,nn | DI | CALL P,nn | PUSH AF | OR n | RST 30
F8: RET M | LD SP,HL | JP M,nn | EI | CALL M,nn | - | CP n | RST 38
"""

_EXTENDED_ROWS: Final = """
40: IN B,(C) | OUT (C),B | SBC HL,BC | LD (nn),BC | NEG | RETN | IM 0 | LD I,A
48: IN C,(C) | OUT (C),C | ADC HL,BC | LD BC,(nn) | - | RETI | - | LD R,A
50: IN D,(C) | OUT (C),D | SBC HL,DE | LD (nn),DE | - | - | IM 1 | LD A,I
58: IN E,(C) | OUT (C),E | ADC HL,DE | LD DE,(nn) | - | - | IM 2 | LD A,R
60: IN H,(C) | OUT (C),H | SBC HL,HL | LD (nn),HL | - | - | - | RRD
68: IN L,(C) | OUT (C),L | ADC HL,HL | LD HL,(nn) | - | - | - | RLD
70: - | - | SBC HL,SP | LD (nn),SP | - | - | - | -
78: IN A,(C) | OUT (C),A | ADC HL,SP | LD SP,(nn) | - | - | - | -
A0: LDI | CPI | INI | OUTI | - | - | - | -
A8: LDD | CPD | IND | OUTD | - | - | - | -
B0: LDIR | CPIR | INIR | OTIR | - | - | - | -
B8: LDDR | CPDR | INDR | OTDR | - | - | - | -
"""

_GRAMMAR: Final = Grammar(
    forms={
        "n": OperandForm("byte", 1),
        "nn": OperandForm("word", 2),
        "(nn)": OperandForm("data", 2, "({})"),
        "e": OperandForm("relative", 1),
        "+d": OperandForm("offset", 1),
    },
    flows={
        "JP nn": Flow.JUMP,
        "JR e": Flow.JUMP,
        "JP": Flow.BRANCH,
        "JR": Flow.BRANCH,
        "DJNZ": Flow.BRANCH,
        "CALL": Flow.CALL,
        "RST": Flow.CALL,
        **dict.fromkeys("RET RETI RETN HALT".split(), Flow.END),
        **dict.fromkeys(("JP (HL)", "JP (IX)", "JP (IY)"), Flow.END),
        # A conditional return goes on where the condition fails.
        **{f"RET {condition}": Flow.NEXT for condition in "NZ Z NC C PO PE P M".split()},
    },
)
_NOT_INDEXED: Final = frozenset({"EX DE,HL"})


def _grid(first: int, heads: tuple[str, ...]) -> str:
    """Rows of `heads`, each before all eight registers."""
    return "\n".join(
        f"{first + 8 * row:02X}: "
        + " | ".join("-" if head.startswith("-") else head + register for register in _REGISTERS)
        for row, head in enumerate(heads)
    )


def _main_entries() -> str:
    loads = _grid(0x40, tuple(f"LD {register}," for register in _REGISTERS))
    return "\n".join(
        (_ROWS.strip(), loads.replace("LD (HL),(HL)", "HALT"), _grid(0x80, _ARITHMETIC))
    )


def _bit_entries() -> str:
    bits = tuple(f"{name} {bit}," for name in ("BIT", "RES", "SET") for bit in range(8))
    return _grid(0, tuple(f"{name} " for name in _ROTATIONS)) + "\n" + _grid(0x40, bits)


def _indexed(rows: str, index: str) -> str:
    """The entries of `rows` that use HL, with `index` in its place; the others undefined."""
    changed = []
    for row in rows.splitlines():
        first, entries = row.split(":", 1)
        changed.append(
            f"{first}: "
            + " | ".join(_indexed_entry(entry.strip(), index) for entry in entries.split(" | "))
        )
    return "\n".join(changed)


def _indexed_entry(entry: str, index: str) -> str:
    if entry in _NOT_INDEXED or "HL" not in entry:
        return "-"
    if entry == "JP (HL)":
        return f"JP ({index})"
    return entry.replace("(HL)", f"({index}+d)").replace("HL", index)


def _main_page() -> dict[int, Opcode]:
    page = _GRAMMAR.page(_main_entries())
    restarts = {
        code: page[code]._replace(fixed_target=code & 0x38) for code in range(0xC7, 0x100, 8)
    }
    return page | restarts


def _pages() -> dict[bytes, Page]:
    pages: dict[bytes, Page] = {
        b"": _main_page(),
        b"\xcb": _GRAMMAR.page(_bit_entries()),
        b"\xed": _GRAMMAR.page(_EXTENDED_ROWS),
    }
    for prefix, index in ((b"\xdd", "IX"), (b"\xfd", "IY")):
        pages[prefix] = _GRAMMAR.page(_indexed(_main_entries(), index))
        pages[prefix + b"\xcb"] = _GRAMMAR.page(_indexed(_bit_entries(), index))
    return pages


_COMMON: Final = bytes.fromhex(
    "CD C9 21 11 01 3E 7E 77 23 C3 CA C2 DA D2 E5 E1 D5 D1 C5 C1 "
    "F5 F1 32 3A FE B7 AF E6 DB D3 4F 47 79 78 18 28 20 10 30 38 ED CB DD 06"
)
"""The first bytes that programs use most, by judgement; a guess weighs them, nothing else."""


class Z80:
    """The documented instructions, of one to four bytes."""

    name: ClassVar[str] = "z80"
    title: ClassVar[str] = "Z80"
    source: ClassVar[str] = "Zilog, Z80 CPU User Manual (from memory)"
    cell_bytes: ClassVar[int] = 1
    vectors: ClassVar[tuple[int, ...]] = ()
    common: ClassVar[frozenset[int]] = frozenset(_COMMON)
    table: ClassVar[OpcodeTable] = OpcodeTable(
        _pages(), offset_first=frozenset({b"\xdd\xcb", b"\xfd\xcb"})
    )

    def decode(self, memory: Memory, address: int) -> Instruction | None:
        """The instruction at `address`; None where undefined or not wholly loaded."""
        return self.table.decode(memory, address)

    def vector(self, memory: Memory, address: int) -> int:
        """The address that stands at `address`."""
        return self.table.word(memory, address)
