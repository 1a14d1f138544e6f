"""Looking for lettering on tapes of a roll's length, with and without it.

    python -m tests.bench.bench_lettering [rounds]

Most tapes bear none, and must not wait for the look: no kind may fall below 5 M frames a second.
Trust the order of magnitude, not the digits. Exits with 1 where a rate is below the floor.
"""

import random
import statistics
import sys
import time

from server.tape.image import Image
from server.tape.lettering import find_lettering, letter_frames

FRAMES = 120_000
FLOOR = 5e6
"""Frames a second, on any machine: well below what is measured."""


def tapes() -> dict[str, Image]:
    """What is measured: data of several kinds between blank leaders, and one with letters."""
    draw = random.Random(1)
    blank = bytes(100)
    dense = bytes(draw.choices(range(1, 256), k=FRAMES))
    words = b"".join(bytes([0, draw.randrange(256)]) for _ in range(FRAMES // 2))
    sparse = bytes(draw.choice([0, 0, 0, 1, 2, 0x7F, 0x41]) for _ in range(FRAMES))
    return {
        "text or hex": Image(blank + dense + blank),
        "16-bit words": Image(blank + words + blank),
        "mostly blank": Image(blank + sparse + blank),
        "all blank": Image(bytes(FRAMES)),
        "letters": Image(blank + letter_frames("LAMP TEST 12") + blank + dense + blank),
    }


def main(rounds: int = 30) -> int:
    """Measure, print, and say by the exit code whether the floor holds."""
    slow = []
    for name, image in tapes().items():
        find_lettering(image)
        taken = []
        for _ in range(rounds):
            start = time.perf_counter()
            find_lettering(image)
            taken.append(time.perf_counter() - start)
        rate = len(image) / statistics.median(taken)
        print(f"{name:14} {statistics.median(taken) * 1000:8.3f} ms  {rate / 1e6:9.1f} M frames/s")
        slow += [name] if rate < FLOOR else []
    for name in slow:
        print(f"{name}: less than {FLOOR / 1e6:.0f} M frames/s")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:2])))
