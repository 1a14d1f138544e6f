"""Frames made to be as costly to read as can be, so many as are asked for."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final

import numpy as np

from tests.tape.basic_tapes import saved

LEAD = b"\xd3\xd3\xd3A"


def noise(size: int) -> bytes:
    return np.random.default_rng(7).bytes(size)


def scattered_records(size: int) -> bytes:
    """S-records of one byte each, at addresses all over 32 bits."""
    numbers = np.random.default_rng(3).integers(0, 1 << 32, size // 17, dtype=np.uint64)
    lines = []
    for address in numbers.tolist():
        body = b"\x06" + address.to_bytes(4, "big") + b"\x55"
        lines.append(b"S3%s%02X" % (body.hex().encode(), ~sum(body) & 0xFF))
    return b"\n".join(lines)


def links_that_jump(size: int) -> bytes:
    records = np.frombuffer(noise(size), np.uint8).copy()
    records[3::6] = records[5::6] = 0
    return LEAD + records.tobytes()


def much_blank(size: int) -> bytes:
    some = np.array([0, 0, 0, 1, 2, 7, 0xD3], np.uint8)
    return bytes(some[np.random.default_rng(7).integers(0, some.size, size)])


def endless_program(size: int) -> bytes:
    program: bytes = saved([(count % 65530, b"\xff") for count in range(1, size // 6)])
    return program


def endless_and_damaged(size: int) -> bytes:
    frames = np.frombuffer(endless_program(size), np.uint8).copy()
    frames[np.random.default_rng(7).integers(0, frames.size, frames.size // 20)] ^= 0x10
    return frames.tobytes()


def repeated(frames: bytes) -> Callable[[int], bytes]:
    return lambda size: frames * (size // len(frames))


COSTLY: Final[Mapping[str, Callable[[int], bytes]]] = MappingProxyType(
    {
        "blank": bytes,
        "rub-outs": repeated(b"\xff"),
        "noise": noise,
        "much blank": much_blank,
        "control characters": repeated(b"\x07"),
        "marks only": repeated(b":"),
        "marks and digits": repeated(b":12345678"),
        "failing records": repeated(b":010000000000"),
        "digits only": repeated(b"0123456789\n"),
        "digits on one line": repeated(b"0"),
        "records with a word each": repeated(b":00000001FF HI\n"),
        "letters and digits": repeated(b"S1F3456789"),
        "long failing records": repeated(b":FF000000" + b"5A" * 255 + b"00\r\n"),
        "long records, a digit short": repeated(b":FF000000" + b"5A" * 255 + b"0\r\n"),
        "records of semicolons": repeated(b";FF0000"),
        "records of semicolons that fail": repeated(b";FF0000" + b"5A" * 256 + b"0\r\n"),
        "records of strokes": repeated(b"/0000010100"),
        "records of strokes that fail": repeated(b"/0000FF1E" + b"5A" * 255 + b"0\r\n"),
        "records broken off": repeated(b"//NO\r"),
        "records scattered over memory": scattered_records,
        "all D3": repeated(b"\xd3"),
        "a lead, then noise": lambda size: LEAD + noise(size),
        "leads only": repeated(LEAD),
        "halves of leads": repeated(b"\xd3\xd3A\0"),
        "links that jump": links_that_jump,
        "an endless program": endless_program,
        "an endless program, damaged": endless_and_damaged,
        "an endless program without a head": lambda size: endless_program(size)[9:],
        "a line without an end": lambda size: LEAD + b"\x01\x20\x0a\x00" + b"\x96" * size,
    }
)
