"""The 12-bit minicomputer of the small-computer handbooks, octal throughout.

Source: the maker's small computer handbook, from memory, not checked by machine.
"""

from typing import ClassVar, Final

from server.tape.cpu.base import Flow, Instruction, Memory, Operand

_MEMORY_REFERENCE: Final = ("AND", "TAD", "ISZ", "DCA", "JMS", "JMP")
_INDIRECT, _CURRENT_PAGE, _OFFSET = 0o400, 0o200, 0o177
_FIELD = 0o7777

_GROUP_1: Final = {
    0o7200: "CLA",
    0o7100: "CLL",
    0o7040: "CMA",
    0o7020: "CML",
    0o7001: "IAC",
}
_ROTATIONS: Final = {
    0o00: "",
    0o02: "BSW",
    0o04: "RAL",
    0o06: "RTL",
    0o10: "RAR",
    0o12: "RTR",
}
_SKIPS_ON_ANY: Final = {0o100: "SMA", 0o040: "SZA", 0o020: "SNL"}
_SKIPS_ON_ALL: Final = {0o100: "SPA", 0o040: "SNA", 0o020: "SZL"}
_QUOTIENT: Final = {
    0o7501: "MQA",
    0o7421: "MQL",
    0o7521: "SWP",
    0o7601: "CLA",
    0o7621: "CAM",
    0o7701: "ACL",
}
_DEVICES: Final = {
    0o6001: "ION",
    0o6002: "IOF",
    0o6011: "RSF",
    0o6012: "RRB",
    0o6014: "RFC",
    0o6021: "PSF",
    0o6022: "PCF",
    0o6024: "PPC",
    0o6026: "PLS",
    0o6031: "KSF",
    0o6032: "KCC",
    0o6034: "KRS",
    0o6036: "KRB",
    0o6041: "TSF",
    0o6042: "TCF",
    0o6044: "TPC",
    0o6046: "TLS",
}
_SKIPPING_DEVICES: Final = frozenset({"RSF", "PSF", "KSF", "TSF"})


class TwelveBit:
    """Eight operation codes; a cell is a word of 12 bits, a page 128 of them."""

    name: ClassVar[str] = "12-bit"
    title: ClassVar[str] = "12-bit minicomputer"
    source: ClassVar[str] = "small computer handbook of the maker (from memory)"
    cell_bytes: ClassVar[int] = 2
    vectors: ClassVar[tuple[int, ...]] = ()
    common: ClassVar[frozenset[int]] = frozenset()

    def decode(self, memory: Memory, address: int) -> Instruction | None:
        """The instruction at `address`; None where no word is loaded."""
        if not memory.loaded[address]:
            return None
        word = memory.cells[address]
        if word > _FIELD:
            return None
        operation = word >> 9
        if operation < len(_MEMORY_REFERENCE):
            return _memory_reference(word, address)
        return _device(word, address) if operation == 6 else _operate(word, address)

    def vector(self, memory: Memory, address: int) -> int:
        """The word at `address`."""
        return memory.cells[address]


def _memory_reference(word: int, address: int) -> Instruction:
    operation = _MEMORY_REFERENCE[word >> 9]
    page = address & ~_OFFSET if word & _CURRENT_PAGE else address & ~_FIELD
    place = page | word & _OFFSET
    indirect = bool(word & _INDIRECT)
    flow, target = Flow.NEXT, None
    if operation == "JMP":
        flow, target = (Flow.END, None) if indirect else (Flow.JUMP, place)
    elif operation == "JMS":
        # The return address is stored in the first word, and the routine begins behind it.
        flow, target = (Flow.NEXT, None) if indirect else (Flow.CALL, (place + 1) & 0xFFFF)
    elif operation == "ISZ":
        flow = Flow.SKIP
    kind = "code" if flow is Flow.JUMP else "data"
    text = f"{operation} I {{}}" if indirect else f"{operation} {{}}"
    return Instruction(address, 1, text, (Operand(kind, place),), flow, target)


def _device(word: int, address: int) -> Instruction:
    name = _DEVICES.get(word, f"IOT {word & 0o777:03o}")
    return Instruction(address, 1, name, flow=Flow.SKIP if name in _SKIPPING_DEVICES else Flow.NEXT)


def _operate(word: int, address: int) -> Instruction | None:
    if not word & 0o400:
        return _named(_group_1(word), address, Flow.NEXT)
    if not word & 1:
        return _group_2(word, address)
    name = _QUOTIENT.get(word)
    return Instruction(address, 1, name) if name else None


def _group_1(word: int) -> list[str]:
    rotation = _ROTATIONS.get(word & 0o16)
    if rotation is None:
        return []
    names = [name for bits, name in _GROUP_1.items() if word & bits & 0o377]
    return [*names, rotation] if rotation else names or ["NOP"]


def _group_2(word: int, address: int) -> Instruction | None:
    on_all = bool(word & 0o10)
    skips = _SKIPS_ON_ALL if on_all else _SKIPS_ON_ANY
    names = [name for bit, name in skips.items() if word & bit]
    if on_all and not names:
        names = ["SKP"]
    flow = Flow.SKIP if names else Flow.NEXT
    names += [name for bit, name in {0o200: "CLA", 0o4: "OSR", 0o2: "HLT"}.items() if word & bit]
    return _named(names or ["NOP"], address, flow)


def _named(names: list[str], address: int, flow: Flow) -> Instruction | None:
    if not names:
        return None
    return Instruction(address, 1, " ".join(names), flow=flow)
