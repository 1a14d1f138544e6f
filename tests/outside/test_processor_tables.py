"""Every opcode of our tables beside independent disassemblers from the package registry.

Peers: z80dis (its documented set) for the Z80, and for the 8080 the same library's lengths, an
8080 instruction having the length that the Z80 gives its opcode; capstone (MOS65XX) for the
6502; capstone (M680X) for the 6800.
"""

import re

import capstone
import pytest
from z80dis import z80

from server.tape.cpu import PROCESSORS
from server.tape.cpu.base import Memory

AT = 0x100
TAIL = b"\x05\x06\x07"
PAGES = {b"\xcb", b"\xed", b"\xdd", b"\xfd", b"\xdd\xcb", b"\xfd\xcb"}
Z80_PREFIXES = (b"", b"\xcb", b"\xed", b"\xdd", b"\xfd", b"\xdd\xcb\x05", b"\xfd\xcb\x05")
COMPARED = {"": 252, "cb": 248, "ed": 58, "dd": 39, "fd": 39, "ddcb05": 31, "fdcb05": 31}


def ours(processor, code):
    return PROCESSORS[processor].decode(Memory({AT: code + bytes(4)}), AT)


def text_of(instruction):
    numbers = (
        f"{each.value:+d}" if each.kind == "offset" else str(each.value)
        for each in instruction.operands
    )
    return instruction.text.format(*numbers).upper()


def in_decimal(text):
    return re.sub(r"(?:0x|\$)([0-9a-f]+)", lambda number: str(int(number[1], 16)), text).upper()


@pytest.mark.parametrize("prefix", Z80_PREFIXES, ids=bytes.hex)
def test_z80_agrees_with_z80dis_on_every_code_it_documents(prefix):
    compared = 0
    for code in range(256):
        frames = prefix + bytes([code]) + (b"" if len(prefix) == 3 else TAIL)
        found = ours("z80", frames)
        if found is None or prefix + bytes([code]) in PAGES:
            continue
        peer = z80.decode(frames, AT)
        expected = in_decimal(z80.disasm(frames, AT))
        if expected.startswith("RST"):
            # The peer writes a restart's address in decimal, the manual in hexadecimal.
            expected = f"RST {int(expected[4:]):02X}"
        assert (text_of(found), found.size) == (expected, peer.len)
        compared += 1
    assert compared == COMPARED[prefix.hex()]


def test_8080_lengths_agree_with_those_the_z80_gives_the_same_codes():
    compared = 0
    for code in range(256):
        found = ours("8080", bytes([code]) + TAIL)
        if found is not None:
            assert found.size == z80.decode(bytes([code]) + TAIL, AT).len
            compared += 1
    assert compared == 244


@pytest.mark.parametrize(
    ("processor", "arch", "mode"),
    [
        ("6502", capstone.CS_ARCH_MOS65XX, capstone.CS_MODE_MOS65XX_6502),
        ("6800", capstone.CS_ARCH_M680X, capstone.CS_MODE_M680X_6800),
    ],
)
def test_mnemonics_and_lengths_agree_with_capstone(processor, arch, mode):
    peer = capstone.Cs(arch, mode)
    defined = 0
    for code in range(256):
        frames = bytes([code]) + TAIL
        found = ours(processor, frames)
        theirs = next(peer.disasm(frames, AT, 1), None)
        if found is None:
            continue
        defined += 1
        assert theirs is not None
        assert text_of(found).partition(" ")[0] == theirs.mnemonic.upper()
        # BRK is followed by a byte that RTI skips; the peer counts it, the manual's table not.
        assert found.size == theirs.size or text_of(found) == "BRK"
    assert defined == {"6502": 151, "6800": 197}[processor]
