"""The 6502.

Source: the maker's MCS6500 family programming manual, 1976, from memory; every documented code
is checked against a disassembly library of the registry in tests/outside.
"""

from typing import ClassVar, Final

from server.tape.cpu.base import Flow, Instruction, Memory
from server.tape.cpu.opcodes import Grammar, OpcodeTable, OperandForm

_ROWS: Final = """
00: BRK | ORA (zp,X) | - | - | - | ORA zp | ASL zp | -
08: PHP | ORA #n | ASL A | - | - | ORA abs | ASL abs | -
10: BPL rel | ORA (zp),Y | - | - | - | ORA zp,X | ASL zp,X | -
18: CLC | ORA abs,Y | - | - | - | ORA abs,X | ASL abs,X | -
20: JSR abs | AND (zp,X) | - | - | BIT zp | AND zp | ROL zp | -
28: PLP | AND #n | ROL A | - | BIT abs | AND abs | ROL abs | -
30: BMI rel | AND (zp),Y | - | - | - | AND zp,X | ROL zp,X | -
38: SEC | AND abs,Y | - | - | - | AND abs,X | ROL abs,X | -
40: RTI | EOR (zp,X) | - | - | - | EOR zp | LSR zp | -
48: PHA | EOR #n | LSR A | - | JMP abs | EOR abs | LSR abs | -
50: BVC rel | EOR (zp),Y | - | - | - | EOR zp,X | LSR zp,X | -
58: CLI | EOR abs,Y | - | - | - | EOR abs,X | LSR abs,X | -
60: RTS | ADC (zp,X) | - | - | - | ADC zp | ROR zp | -
68: PLA | ADC #n | ROR A | - | JMP (abs) | ADC abs | ROR abs | -
70: BVS rel | ADC (zp),Y | - | - | - | ADC zp,X | ROR zp,X | -
78: SEI | ADC abs,Y | - | - | - | ADC abs,X | ROR abs,X | -
80: - | STA (zp,X) | - | - | STY zp | STA zp | STX zp | -
88: DEY | - | TXA | - | STY abs | STA abs | STX abs | -
90: BCC rel | STA (zp),Y | - | - | STY zp,X | STA zp,X | STX zp,Y | -
98: TYA | STA abs,Y | TXS | - | - | STA abs,X | - | -
A0: LDY #n | LDA (zp,X) | LDX #n | - | LDY zp | LDA zp | LDX zp | -
A8: TAY | LDA #n | TAX | - | LDY abs | LDA abs | LDX abs | -
B0: BCS rel | LDA (zp),Y | - | - | LDY zp,X | LDA zp,X | LDX zp,Y | -
B8: CLV | LDA abs,Y | TSX | - | LDY abs,X | LDA abs,X | LDX abs,Y | -
C0: CPY #n | CMP (zp,X) | - | - | CPY zp | CMP zp | DEC zp | -
C8: INY | CMP #n | DEX | - | CPY abs | CMP abs | DEC abs | -
D0: BNE rel | CMP (zp),Y | - | - | - | CMP zp,X | DEC zp,X | -
D8: CLD | CMP abs,Y | - | - | - | CMP abs,X | DEC abs,X | -
E0: CPX #n | SBC (zp,X) | - | - | CPX zp | SBC zp | INC zp | -
E8: INX | SBC #n | NOP | - | CPX abs | SBC abs | INC abs | -
F0: BEQ rel | SBC (zp),Y | - | - | - | SBC zp,X | INC zp,X | -
F8: SED | SBC abs,Y | - | - | - | SBC abs,X | INC abs,X | -
"""

_GRAMMAR: Final = Grammar(
    forms={
        "#n": OperandForm("byte", 1, "#{}"),
        "zp": OperandForm("page zero", 1),
        "abs": OperandForm("data", 2),
        "rel": OperandForm("relative", 1),
        "JSR abs": OperandForm("code", 2, "JSR {}"),
        "JMP abs": OperandForm("code", 2, "JMP {}"),
    },
    flows={
        "JMP abs": Flow.JUMP,
        "JMP (abs)": Flow.END,
        "JSR": Flow.CALL,
        **dict.fromkeys("BPL BMI BVC BVS BCC BCS BNE BEQ".split(), Flow.BRANCH),
        **dict.fromkeys("RTS RTI BRK".split(), Flow.END),
    },
)


_COMMON: Final = bytes.fromhex(
    "A9 A5 AD 85 8D 20 60 4C D0 F0 A2 A0 C9 BD B9 9D 99 B1 91 E8 "
    "C8 CA 88 18 38 69 E9 29 48 68 AA A8 8A 98 90 B0 10 30 E6 C6"
)
"""The first bytes that programs use most, by judgement; a guess weighs them, nothing else."""


class M6502:
    """151 documented instructions of one to three bytes."""

    name: ClassVar[str] = "6502"
    title: ClassVar[str] = "6502"
    source: ClassVar[str] = "MCS6500 family programming manual, 1976 (from memory)"
    cell_bytes: ClassVar[int] = 1
    vectors: ClassVar[tuple[int, ...]] = (0xFFFA, 0xFFFC, 0xFFFE)
    common: ClassVar[frozenset[int]] = frozenset(_COMMON)
    table: ClassVar[OpcodeTable] = OpcodeTable({b"": _GRAMMAR.page(_ROWS)})

    def decode(self, memory: Memory, address: int) -> Instruction | None:
        """The instruction at `address`; None where undefined or not wholly loaded."""
        return self.table.decode(memory, address)

    def vector(self, memory: Memory, address: int) -> int:
        """The address that stands at `address`, low byte first."""
        return self.table.word(memory, address)
