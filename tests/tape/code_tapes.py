"""Invented machine code for the tests: routines that call one another, and nothing else."""

import random
from collections.abc import Callable
from typing import Literal

PROCESSORS = ("8080", "6502", "6800")
BASES = (0, 0x100, 0x1000)

_Pieces = list[Callable[[], bytes]]


def invented_code(processor: str, size: int, base: int, seed: int) -> bytes:
    """At least `size` bytes of routines, as loaded from `base` on, each ended by a return."""
    choose = random.Random(seed)
    order: Literal["big", "little"] = "big" if processor == "6800" else "little"
    jump = bytes((0x77, 0x77))

    def data() -> bytes:
        return (base + size + choose.randrange(200)).to_bytes(2, order)

    pieces, end = _PIECES[processor](choose, data, jump)
    # The first routine calls others, as a main program does.
    code, starts = bytearray(pieces[0]() * 6), []
    while len(code) < size:
        starts.append(base + len(code))
        for _ in range(choose.randint(4, 20)):
            code += choose.choice(pieces)()
        code += end
    while (at := code.find(jump)) >= 0:
        code[at : at + 2] = choose.choice(starts).to_bytes(2, order)
    return bytes(code)


def _i8080(choose, data, jump) -> tuple[_Pieces, bytes]:
    return [
        lambda: b"\xcd" + jump,
        lambda: b"\x3e" + choose.randbytes(1),
        lambda: b"\x21" + data(),
        lambda: b"\x7e\x23",
        lambda: b"\xfe" + choose.randbytes(1) + b"\xca" + jump,
        lambda: b"\x32" + data(),
        lambda: b"\x3a" + data(),
        lambda: b"\xe5\xd5",
        lambda: b"\xd1\xe1",
        lambda: b"\x05\xc2" + jump,
        lambda: b"\xdb\x01\xe6\x01",
    ], b"\xc9"


def _m6502(choose, data, jump) -> tuple[_Pieces, bytes]:
    return [
        lambda: b"\x20" + jump,
        lambda: b"\xa9" + choose.randbytes(1),
        lambda: b"\x8d" + data(),
        lambda: b"\xad" + data(),
        lambda: b"\xc9" + choose.randbytes(1) + b"\xd0\x02\xe8\xe8",
        lambda: b"\x18\x69\x01",
        lambda: b"\x85\x10\xa5\x11",
        lambda: b"\xc8\xca",
    ], b"\x60"


def _m6800(choose, data, jump) -> tuple[_Pieces, bytes]:
    return [
        lambda: b"\xbd" + jump,
        lambda: b"\x86" + choose.randbytes(1),
        lambda: b"\xb7" + data(),
        lambda: b"\xb6" + data(),
        lambda: b"\xce" + data(),
        lambda: b"\xa6\x00\x08",
        lambda: b"\x81" + choose.randbytes(1) + b"\x27\x02\x4c\x4c",
        lambda: b"\x97\x10\x96\x11",
    ], b"\x39"


_PIECES = {"8080": _i8080, "6502": _m6502, "6800": _m6800}
