"""How fast a crunched program is recognised and read, beside a reading byte by byte in Python.

Run it with `python -m tests.bench.bench_basic`.
"""

import time
from collections.abc import Callable
from random import Random
from typing import Final

from server.tape.basic import DIALECTS
from server.tape.basic.crunch import crunch
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.image import Image
from server.tape.listing import Line
from server.tape.view import View
from tests.bench.programs import program

FRAMES: Final = 120_000
"""A roll of 1000 ft, at ten frames to the inch."""

PASSES: Final = 15
DIALECT: Final = DIALECTS["8k-8080"]


def tape() -> bytes:
    """A tape of FRAMES frames or a few more: invented lines, links that pass FFFF over."""
    random, address, number = Random(4), 0x2001, 0
    saved = bytearray(bytes(60) + b"\xd3\xd3\xd3A")
    while len(saved) < FRAMES:
        for line in program(random, 200):
            text = crunch(line.split(" ", 1)[1], DIALECT)
            number, address = number + 1, (address + 5 + len(text)) % 0x10000 or 1
            header = address.to_bytes(2, "little") + number.to_bytes(2, "little")
            saved += header + text + b"\0"
    return bytes(saved + bytes(62))


def byte_by_byte(frames: bytes) -> list[Line]:
    """The lines of a whole tape, read as the rules are told, one byte after another.

    It takes the tape to be whole: no link is checked, no damage found, no finding made.
    """
    at = frames.index(b"\xd3\xd3\xd3") + 4
    lines = []
    while frames[at] or frames[at + 1]:
        start, number = at, frames[at + 2] | frames[at + 3] << 8
        text = f"{number} "
        at += 4
        quoted = remark = data = False
        while frames[at]:
            byte = frames[at]
            literal = quoted or remark or data
            if byte == 0x22 and not remark:
                quoted = not quoted
            elif byte == 0x3A and not quoted and not remark:
                data = False
            elif not literal:
                remark, data = byte == 0x8E, byte == 0x83
            text += chr(byte) if byte < 0x80 or literal else DIALECT.tokens[byte]
            at += 1
        at += 1
        lines.append(Line(text, start, at - start, number))
    return lines


def best(work: Callable[[], object]) -> float:
    """Seconds of processor time of the fastest of several passes: others may use the machine."""
    took = []
    for _ in range(PASSES):
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    return min(took)


def main() -> None:
    frames = tape()
    basic = CrunchedBasic()
    lines = basic.parse(View(Image(frames))).listing
    assert list(lines) == byte_by_byte(frames)
    reference = best(lambda: byte_by_byte(frames))
    print(f"{len(frames)} frames, {len(lines)} lines")
    for name, seconds in (
        ("byte by byte", reference),
        ("recognise", best(lambda: basic.recognise(View(Image(frames))))),
        ("parse", best(lambda: basic.parse(View(Image(frames))))),
    ):
        rate = len(frames) / seconds / 1e6
        ratio = reference / seconds
        print(f"{name:14}{seconds * 1000:9.2f} ms {rate:9.2f} M frames/s {ratio:8.2f} x")


if __name__ == "__main__":
    main()
