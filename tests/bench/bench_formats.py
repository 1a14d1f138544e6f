"""Recognition and parsing of one roll in each record or block format, in frames a second.

    python -m tests.bench.bench_formats [rounds]

Each tape is some 120,000 frames, a roll of 1000 feet. `recognise` and `parse` are each given a
view made anew, so that the reading of characters is in both. 'damaged' is the same tape with one
wrong hole in every two thousand frames. No library of the registry reads these formats, so the
floors are absolute, well below what is measured on a quiet machine.
Exits with 1 where a rate is below its floor.
"""

import random
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any, NamedTuple

from server.tape.formats.base import Format
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.nc_program import NcContent, NcProgram
from server.tape.formats.s_record import SRecord
from server.tape.formats.semicolon_hex import SemicolonHex
from server.tape.formats.tek_hex import TekHex
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Image
from server.tape.view import View

RECOGNISE_FLOOR, PARSE_FLOOR = 5.0, 1.0
"""Million frames a second."""

BYTES = 43 * 1024
BLOCKS = 5500
FLIP_EVERY = 2000


class Subject(NamedTuple):
    """A format, and a tape of it."""

    name: str
    format: Format[Any]
    image: Image


def blocks(count: int) -> tuple[str, ...]:
    """A program that mills to and fro."""
    choose = random.Random(2)
    moves = (
        f"N{10 * at} G01 X{choose.randrange(9999) / 10} Y-{choose.randrange(7777) / 10}"
        + (" F250" if at % 9 == 0 else "")
        for at in range(1, count)
    )
    return ("%", *moves, f"N{10 * count} M30")


def subjects() -> list[Subject]:
    """One clean tape a format; that of numerical control in both of its codes."""
    program = HexProgram({0: random.Random(1).randbytes(BYTES)})
    hexadecimal = (IntelHex(), SRecord(), SemicolonHex(), TekHex())
    control = NcProgram()
    return [
        *(Subject(each.name, each, each.build(program)) for each in hexadecimal),
        *(
            Subject(
                f"{control.name} {code}", control, control.build(NcContent(blocks(BLOCKS), code))
            )
            for code in ("iso-840", "rs-244")
        ),
    ]


def damaged(subject: Subject) -> Subject:
    """The same tape with a wrong hole here and there."""
    choose = random.Random(3)
    frames = bytearray(subject.image.frames)
    for at in range(100, len(frames) - 100, FLIP_EVERY):
        frames[at] ^= 1 << choose.randrange(8)
    return subject._replace(name=f"{subject.name}, damaged", image=Image(bytes(frames)))


def rate(image: Image, work: Callable[[View], object], rounds: int) -> float:
    """Million frames a second, the median of `rounds`."""
    taken = []
    for _ in range(rounds):
        view = View(image)
        start = time.perf_counter()
        work(view)
        taken.append(time.perf_counter() - start)
    return len(image) / statistics.median(taken) / 1e6


def main(rounds: int = 15) -> int:
    """Measure, print, and say by the exit code whether the floors hold."""
    low = 0
    clean = subjects()
    for subject in [*clean, *map(damaged, clean)]:
        recognised = rate(subject.image, subject.format.recognise, rounds)
        parsed = rate(subject.image, subject.format.parse, rounds)
        below = recognised < RECOGNISE_FLOOR or parsed < PARSE_FLOOR
        low += below
        print(
            f"{subject.name:24} {len(subject.image):7} frames  recognise {recognised:6.1f}  "
            f"parse {parsed:5.1f} M frames/s{'  below its floor' if below else ''}"
        )
    return 1 if low else 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:2])))
