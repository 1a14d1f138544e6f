"""The 8080.

Source: Intel, 8080 Assembly Language Programming Manual, from memory; lengths and the set of
documented codes are checked against a disassembly library of the registry in tests/outside.
"""

from typing import ClassVar, Final

from server.tape.cpu.base import Flow, Instruction, Memory
from server.tape.cpu.opcodes import Grammar, Opcode, OpcodeTable, OperandForm

_ROWS: Final = """
00: NOP | LXI B,d16 | STAX B | INX B | INR B | DCR B | MVI B,d8 | RLC
08: * | DAD B | LDAX B | DCX B | INR C | DCR C | MVI C,d8 | RRC
10: * | LXI D,d16 | STAX D | INX D | INR D | DCR D | MVI D,d8 | RAL
18: * | DAD D | LDAX D | DCX D | INR E | DCR E | MVI E,d8 | RAR
20: * | LXI H,d16 | SHLD m16 | INX H | INR H | DCR H | MVI H,d8 | DAA
28: * | DAD H | LHLD m16 | DCX H | INR L | DCR L | MVI L,d8 | CMA
30: * | LXI SP,d16 | STA m16 | INX SP | INR M | DCR M | MVI M,d8 | STC
38: * | DAD SP | LDA m16 | DCX SP | INR A | DCR A | MVI A,d8 | CMC
40: MOV B,B | MOV B,C | MOV B,D | MOV B,E | MOV B,H | MOV B,L | MOV B,M | MOV B,A
48: MOV C,B | MOV C,C | MOV C,D | MOV C,E | MOV C,H | MOV C,L | MOV C,M | MOV C,A
50: MOV D,B | MOV D,C | MOV D,D | MOV D,E | MOV D,H | MOV D,L | MOV D,M | MOV D,A
58: MOV E,B | MOV E,C | MOV E,D | MOV E,E | MOV E,H | MOV E,L | MOV E,M | MOV E,A
60: MOV H,B | MOV H,C | MOV H,D | MOV H,E | MOV H,H | MOV H,L | MOV H,M | MOV H,A
68: MOV L,B | MOV L,C | MOV L,D | MOV L,E | MOV L,H | MOV L,L | MOV L,M | MOV L,A
70: MOV M,B | MOV M,C | MOV M,D | MOV M,E | MOV M,H | MOV M,L | HLT | MOV M,A
78: MOV A,B | MOV A,C | MOV A,D | MOV A,E | MOV A,H | MOV A,L | MOV A,M | MOV A,A
80: ADD B | ADD C | ADD D | ADD E | ADD H | ADD L | ADD M | ADD A
88: ADC B | ADC C | ADC D | ADC E | ADC H | ADC L | ADC M | ADC A
90: SUB B | SUB C | SUB D | SUB E | SUB H | SUB L | SUB M | SUB A
98: SBB B | SBB C | SBB D | SBB E | SBB H | SBB L | SBB M | SBB A
A0: ANA B | ANA C | ANA D | ANA E | ANA H | ANA L | ANA M | ANA A
A8: XRA B | XRA C | XRA D | XRA E | XRA H | XRA L | XRA M | XRA A
B0: ORA B | ORA C | ORA D | ORA E | ORA H | ORA L | ORA M | ORA A
B8: CMP B | CMP C | CMP D | CMP E | CMP H | CMP L | CMP M | CMP A
C0: RNZ | POP B | JNZ d16 | JMP d16 | CNZ d16 | PUSH B | ADI d8 | RST 0
C8: RZ | RET | JZ d16 | * | CZ d16 | CALL d16 | ACI d8 | RST 1
D0: RNC | POP D | JNC d16 | OUT d8 | CNC d16 | PUSH D | SUI d8 | RST 2
D8: RC | * | JC d16 | IN d8 | CC d16 | * | SBI d8 | RST 3
E0: RPO | POP H | JPO d16 | XTHL | CPO d16 | PUSH H | ANI d8 | RST 4
E8: RPE | PCHL | JPE d16 | XCHG | CPE d16 | * | XRI d8 | RST 5
F0: RP | POP PSW | JP d16 | DI | CP d16 | PUSH PSW | ORI d8 | RST 6
F8: RM | SPHL | JM d16 | EI | CM d16 | * | CPI d8 | RST 7
"""

_GRAMMAR: Final = Grammar(
    forms={
        "d8": OperandForm("byte", 1),
        "d16": OperandForm("word", 2),
        "m16": OperandForm("data", 2),
    },
    flows={
        **dict.fromkeys(("JMP",), Flow.JUMP),
        **dict.fromkeys("JNZ JZ JNC JC JPO JPE JP JM".split(), Flow.BRANCH),
        **dict.fromkeys("CALL CNZ CZ CNC CC CPO CPE CP CM RST".split(), Flow.CALL),
        **dict.fromkeys("RET PCHL HLT".split(), Flow.END),
    },
)


def _page() -> dict[int, Opcode]:
    page = _GRAMMAR.page(_ROWS)
    # A restart calls the address that its own opcode spells out in bits 3 to 5.
    restarts = {
        code: page[code]._replace(fixed_target=code & 0x38) for code in range(0xC7, 0x100, 8)
    }
    return page | restarts


_COMMON: Final = bytes.fromhex(
    "CD C9 21 11 01 3E 7E 77 23 C3 CA C2 DA D2 E5 E1 D5 D1 C5 C1 "
    "F5 F1 32 3A FE B7 AF E6 DB D3 4F 47 79 78 0D 05 22 2A 06 0E"
)
"""The first bytes that programs use most, by judgement; a guess weighs them, nothing else."""


class I8080:
    """244 documented instructions of one to three bytes."""

    name: ClassVar[str] = "8080"
    title: ClassVar[str] = "8080"
    source: ClassVar[str] = "Intel, 8080 Assembly Language Programming Manual (from memory)"
    cell_bytes: ClassVar[int] = 1
    vectors: ClassVar[tuple[int, ...]] = ()
    common: ClassVar[frozenset[int]] = frozenset(_COMMON)
    table: ClassVar[OpcodeTable] = OpcodeTable({b"": _page()})

    def decode(self, memory: Memory, address: int) -> Instruction | None:
        """The instruction at `address`; None where undefined or not wholly loaded."""
        return self.table.decode(memory, address)

    def vector(self, memory: Memory, address: int) -> int:
        """The address that stands at `address`."""
        return self.table.word(memory, address)
