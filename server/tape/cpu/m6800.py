"""The 6800.

Source: the maker's M6800 microprocessor programming manual, 1975, from memory; every
documented code is checked against a disassembly library of the registry in tests/outside.
"""

from typing import ClassVar, Final

from server.tape.cpu.base import Flow, Instruction, Memory
from server.tape.cpu.opcodes import Grammar, OpcodeTable, OperandForm

_ROWS: Final = """
00: - | NOP | - | - | - | - | TAP | TPA
08: INX | DEX | CLV | SEV | CLC | SEC | CLI | SEI
10: SBA | CBA | - | - | - | - | TAB | TBA
18: - | DAA | - | ABA | - | - | - | -
20: BRA rel | - | BHI rel | BLS rel | BCC rel | BCS rel | BNE rel | BEQ rel
28: BVC rel | BVS rel | BPL rel | BMI rel | BGE rel | BLT rel | BGT rel | BLE rel
30: TSX | INS | PULA | PULB | DES | TXS | PSHA | PSHB
38: - | RTS | - | RTI | - | - | WAI | SWI
40: NEGA | - | - | COMA | LSRA | - | RORA | ASRA
48: ASLA | ROLA | DECA | - | INCA | TSTA | - | CLRA
50: NEGB | - | - | COMB | LSRB | - | RORB | ASRB
58: ASLB | ROLB | DECB | - | INCB | TSTB | - | CLRB
60: NEG x,X | - | - | COM x,X | LSR x,X | - | ROR x,X | ASR x,X
68: ASL x,X | ROL x,X | DEC x,X | - | INC x,X | TST x,X | JMP x,X | CLR x,X
70: NEG ext | - | - | COM ext | LSR ext | - | ROR ext | ASR ext
78: ASL ext | ROL ext | DEC ext | - | INC ext | TST ext | JMP code | CLR ext
80: SUBA #n | CMPA #n | SBCA #n | - | ANDA #n | BITA #n | LDAA #n | -
88: EORA #n | ADCA #n | ORAA #n | ADDA #n | CPX #nn | BSR rel | LDS #nn | -
90: SUBA dir | CMPA dir | SBCA dir | - | ANDA dir | BITA dir | LDAA dir | STAA dir
98: EORA dir | ADCA dir | ORAA dir | ADDA dir | CPX dir | - | LDS dir | STS dir
A0: SUBA x,X | CMPA x,X | SBCA x,X | - | ANDA x,X | BITA x,X | LDAA x,X | STAA x,X
A8: EORA x,X | ADCA x,X | ORAA x,X | ADDA x,X | CPX x,X | JSR x,X | LDS x,X | STS x,X
B0: SUBA ext | CMPA ext | SBCA ext | - | ANDA ext | BITA ext | LDAA ext | STAA ext
B8: EORA ext | ADCA ext | ORAA ext | ADDA ext | CPX ext | JSR code | LDS ext | STS ext
C0: SUBB #n | CMPB #n | SBCB #n | - | ANDB #n | BITB #n | LDAB #n | -
C8: EORB #n | ADCB #n | ORAB #n | ADDB #n | - | - | LDX #nn | -
D0: SUBB dir | CMPB dir | SBCB dir | - | ANDB dir | BITB dir | LDAB dir | STAB dir
D8: EORB dir | ADCB dir | ORAB dir | ADDB dir | - | - | LDX dir | STX dir
E0: SUBB x,X | CMPB x,X | SBCB x,X | - | ANDB x,X | BITB x,X | LDAB x,X | STAB x,X
E8: EORB x,X | ADCB x,X | ORAB x,X | ADDB x,X | - | - | LDX x,X | STX x,X
F0: SUBB ext | CMPB ext | SBCB ext | - | ANDB ext | BITB ext | LDAB ext | STAB ext
F8: EORB ext | ADCB ext | ORAB ext | ADDB ext | - | - | LDX ext | STX ext
"""

_GRAMMAR: Final = Grammar(
    forms={
        "#n": OperandForm("byte", 1, "#{}"),
        "#nn": OperandForm("word", 2, "#{}"),
        "dir": OperandForm("page zero", 1),
        "ext": OperandForm("data", 2),
        "code": OperandForm("code", 2),
        "x,X": OperandForm("byte", 1, "{},X"),
        "rel": OperandForm("relative", 1),
    },
    flows={
        "JMP code": Flow.JUMP,
        "BRA": Flow.JUMP,
        "BSR": Flow.CALL,
        "JSR code": Flow.CALL,
        **dict.fromkeys(
            "BHI BLS BCC BCS BNE BEQ BVC BVS BPL BMI BGE BLT BGT BLE".split(), Flow.BRANCH
        ),
        # A software interrupt gives control back to the monitor (common practice, no source).
        **dict.fromkeys(("RTS", "RTI", "SWI", "JMP x,X"), Flow.END),
    },
)


_COMMON: Final = bytes.fromhex(
    "BD 39 86 96 B6 97 B7 CE DE FE DF FF A6 A7 E6 E7 08 09 26 27 "
    "20 7E 8D 81 C6 D6 F6 D7 F7 4F 5F 4C 5C 4A 5A 84 C4 16 17 36"
)
"""The first bytes that programs use most, by judgement; a guess weighs them, nothing else."""


class M6800:
    """197 documented instructions of one to three bytes."""

    name: ClassVar[str] = "6800"
    title: ClassVar[str] = "6800"
    source: ClassVar[str] = "M6800 microprocessor programming manual, 1975 (from memory)"
    cell_bytes: ClassVar[int] = 1
    vectors: ClassVar[tuple[int, ...]] = (0xFFF8, 0xFFFA, 0xFFFC, 0xFFFE)
    common: ClassVar[frozenset[int]] = frozenset(_COMMON)
    table: ClassVar[OpcodeTable] = OpcodeTable({b"": _GRAMMAR.page(_ROWS)}, big_endian=True)

    def decode(self, memory: Memory, address: int) -> Instruction | None:
        """The instruction at `address`; None where undefined or not wholly loaded."""
        return self.table.decode(memory, address)

    def vector(self, memory: Memory, address: int) -> int:
        """The address that stands at `address`, high byte first."""
        return self.table.word(memory, address)
