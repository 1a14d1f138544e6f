"""Decoding of a hexadecimal tape of 64 KiB, beside bincopy and intelhex.

    python -m tests.bench.bench_hex [rounds]

All read the same records of sixteen bytes, in turn in each round; trust the ratios, not the
milliseconds. The peers turn text into memory; so does our 'records to memory'. Our 'parse' makes
the whole decoding, dump and findings with it, as 'bincopy and dump' makes a dump; 'from frames'
reads the characters too.
Exits with 1 where a ratio is below its floor.
"""

import io
import random
import statistics
import sys
import time
from collections.abc import Callable

import bincopy
import intelhex

from server.tape.formats.hex_decoding import find_records
from server.tape.formats.intel_hex import IntelHex
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Image
from server.tape.loading import assemble
from server.tape.view import View

SIZE = 64 * 1024
FLOORS = {"records to memory": 4.0, "parse": 1.2}
"""How many times as fast as bincopy each must be, on any machine: well below what is measured."""

FORMAT = IntelHex()


def read_by_bincopy(text: str) -> bytes:
    peer = bincopy.BinFile()
    peer.add_ihex(text)
    return bytes(peer.as_binary())


def dump_by_bincopy(text: str) -> str:
    peer = bincopy.BinFile()
    peer.add_ihex(text)
    return str(peer.as_hexdump())


def read_by_intelhex(text: str) -> bytes:
    return bytes(intelhex.IntelHex(io.StringIO(text)).tobinstr())


def load_records(view: View) -> dict[int, bytes]:
    placed = find_records(view.characters(), FORMAT).placed
    return assemble(FORMAT.read(placed).loads).ranges


def contenders(image: Image) -> dict[str, Callable[[], object]]:
    """What is measured: each reads the same tape."""
    view = View(image)
    text = view.characters().text.decode("ascii")
    return {
        "bincopy": lambda: read_by_bincopy(text),
        "intelhex": lambda: read_by_intelhex(text),
        "bincopy and dump": lambda: dump_by_bincopy(text),
        "records to memory": lambda: load_records(view),
        "parse": lambda: FORMAT.parse(view),
        "from frames": lambda: FORMAT.parse(View(image)),
    }


def medians(work: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Milliseconds of each, the median of `rounds`, taken in turn."""
    taken: dict[str, list[float]] = {name: [] for name in work}
    for _ in range(rounds):
        for name, run in work.items():
            start = time.perf_counter()
            run()
            taken[name].append((time.perf_counter() - start) * 1000)
    return {name: statistics.median(times) for name, times in taken.items()}


def agree(image: Image, data: bytes) -> bool:
    """Whether all contenders read the bytes that were punched."""
    view = View(image)
    text = view.characters().text.decode("ascii")
    ours = FORMAT.parse(view).memory
    return read_by_bincopy(text) == read_by_intelhex(text) == data and ours == {0: data}


def main(rounds: int = 30) -> int:
    """Measure, print, and say by the exit code whether the floors hold."""
    data = random.Random(1).randbytes(SIZE)
    image = FORMAT.build(HexProgram({0: data}))
    if not agree(image, data):
        print("the readers disagree on what the tape holds")
        return 1
    times = medians(contenders(image), rounds)
    print(f"{len(image)} frames, {SIZE} bytes; median of {rounds}")
    for name, taken in times.items():
        ratios = ", ".join(
            f"{times[peer] / taken:5.1f} x {peer}" for peer in ("bincopy", "intelhex")
        )
        rate = len(image) / taken / 1000
        print(f"{name:18} {taken:8.2f} ms  {rate:6.1f} M frames/s  {ratios}")
    low = [name for name, floor in FLOORS.items() if times["bincopy"] / times[name] < floor]
    for name in low:
        print(f"{name} is less than {FLOORS[name]} times as fast as bincopy")
    return 1 if low else 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:2])))
