"""Reading binary loader tapes, beside a straightforward reader that goes frame by frame.

    python -m tests.bench.bench_blocks [rounds]

Each tape carries as much as its format can. The plain reader leaves the bytes in memory and
checks the sums, nothing more; so does our 'to memory'. Our 'parse' makes the whole decoding, dump,
coverage and findings with it.
Both take the same frames, in turn in each round; trust the ratios, not the milliseconds.
Exits with 1 where a rate is below its floor.
"""

import random
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any, NamedTuple

from server.tape.blocks.layout import Layout, Tape
from server.tape.blocks.loads import loads_of
from server.tape.blocks.program import BlockProgram
from server.tape.blocks.walk import Walker
from server.tape.formats.absolute_block import LAYOUT as ABSOLUTE
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.base import Format
from server.tape.formats.bin12 import Bin12
from server.tape.formats.checksum_block import (
    LAYOUTS,
    CheckedProgram,
    ChecksumBlock,
    Rule,
    special_of,
)
from server.tape.formats.raw_binary import RawBinary, RawCode
from server.tape.formats.rim12 import Rim12
from server.tape.image import Image
from server.tape.loading import assemble
from server.tape.twelve_bit import groups, pairs
from server.tape.twelve_bit.frames import tell_apart
from server.tape.twelve_bit.loads import loads_of as word_loads
from server.tape.twelve_bit.program import WordProgram
from server.tape.view import View
from tests.tape.code_tapes import invented_code

RECOGNISE_FLOOR, PARSE_FLOOR = 5.0, 1.0
"""Million frames a second, on a quiet machine."""

Memory = dict[int, int]


class Contender(NamedTuple):
    format: Format[Any]
    image: Image
    plain: Callable[[bytes], Memory] | None = None
    load: Callable[[View], object] | None = None


def read_absolute(frames: bytes) -> Memory:
    memory: Memory = {}
    at = 0
    while at < len(frames):
        if frames[at] != 1:
            at += 1
            continue
        count = frames[at + 2] | frames[at + 3] << 8
        address = frames[at + 4] | frames[at + 5] << 8
        total = 0
        for place in range(at, at + count + 1):
            total = total + frames[place] & 0xFF
        if total:
            raise ValueError(at)
        if count == 6:
            break
        for place in range(at + 6, at + count):
            memory[address] = frames[place]
            address += 1
        at += count + 1
    return memory


def read_checked(frames: bytes) -> Memory:
    memory: Memory = {}
    at = 0
    while at < len(frames):
        if frames[at] == 0x78:
            break
        if frames[at] != 0x3C:
            at += 1
            continue
        count = frames[at + 1] or 256
        address = frames[at + 2] | frames[at + 3] << 8
        total = frames[at + 2] + frames[at + 3]
        for place in range(at + 4, at + 4 + count):
            memory[address] = frames[place]
            total += frames[place]
            address += 1
        if total & 0xFF != frames[at + 4 + count]:
            raise ValueError(at)
        at += count + 5
    return memory


def read_rim(frames: bytes) -> Memory:
    memory: Memory = {}
    at = 0
    while at < len(frames):
        if frames[at] & 0o300 != 0o100:
            at += 1
            continue
        high, low, upper, lower = frames[at : at + 4]
        memory[(high & 0o77) << 6 | low] = upper << 6 | lower
        at += 4
    return memory


def read_bin(frames: bytes) -> Memory:
    memory: Memory = {}
    total = origin = field = next_field = 0
    held: tuple[int, int] | None = None
    at = 0
    while at < len(frames):
        frame = frames[at]
        at += 1
        if frame == 0o200:
            continue
        if frame & 0o300 == 0o300:
            next_field = frame >> 3 & 7
            continue
        word = (frame & 0o77) << 6 | frames[at]
        if held is not None:
            total += held[0] + held[1]
            memory[field << 12 | origin] = held[0] << 6 | held[1]
            origin = origin + 1 & 0o7777
            held = None
        field = next_field
        if frame & 0o100:
            origin = word
            total += frame + frames[at]
        else:
            held = frame, frames[at]
        at += 1
    if held is None or held[0] << 6 | held[1] != total & 0o7777:
        raise ValueError(at)
    return memory


def load_blocks(layout: Layout) -> Callable[[View], object]:
    def load(view: View) -> object:
        tape = Tape(view.array, layout, view.data.stop)
        walker = Walker(tape, special_of)
        start = walker.start(view.data.start)
        assert start is not None
        return assemble(loads_of(walker.walk(start), tape)).ranges

    return load


def load_rim(view: View) -> object:
    (program,) = tell_apart(view).programs
    return assemble(word_loads(groups.words_of(program, groups.groups_of(program)), 4)).ranges


def load_bin(view: View) -> object:
    (program,) = tell_apart(view).programs
    body = pairs.body_of(program)
    assert body.closes
    return assemble(word_loads(pairs.words_of(program, body)[0], 2)).ranges


def _words(choose: random.Random, count: int) -> bytes:
    return b"".join(choose.randrange(0o10000).to_bytes(2, "big") for _ in range(count))


def contenders() -> list[Contender]:
    choose = random.Random(1)
    data = {0: choose.randbytes(0xFFF0)}
    absolute, checked = AbsoluteBlock(), ChecksumBlock()
    code = invented_code("8080", 30_000, 0x100, seed=1) * 4
    rim_words, bin_words = _words(choose, 0o10000), _words(choose, 0o77777)
    return [
        Contender(
            absolute, absolute.build(BlockProgram(data, 0)), read_absolute, load_blocks(ABSOLUTE)
        ),
        Contender(
            checked,
            checked.build(CheckedProgram(data, 0)),
            read_checked,
            load_blocks(LAYOUTS[Rule.ADDRESS_AND_DATA]),
        ),
        Contender(Rim12(), Rim12().build(WordProgram({0: rim_words})), read_rim, load_rim),
        Contender(Bin12(), Bin12().build(WordProgram({0: bin_words})), read_bin, load_bin),
        Contender(RawBinary(), RawBinary().build(RawCode(code))),
    ]


def agree(contender: Contender) -> bool:
    """Whether both read what was punched."""
    if contender.plain is None:
        return True
    decoding = contender.format.parse(View(contender.image))
    size = decoding.cell_bytes
    ours = {
        start + at // size: int.from_bytes(run[at : at + size], "big")
        for start, run in decoding.memory.items()
        for at in range(0, len(run), size)
    }
    return contender.plain(contender.image.frames) == ours


def rate(contender: Contender, run: Callable[[View], object], rounds: int) -> float:
    """Million frames a second, the median of `rounds`; leader and counts are found before."""
    taken = []
    for _ in range(rounds):
        view = View(contender.image)
        assert view.data.frames == view.histogram.sum()
        start = time.process_time()
        run(view)
        taken.append(time.process_time() - start)
    return len(contender.image) / statistics.median(taken) / 1e6


def _of_frames(read: Callable[[bytes], Memory]) -> Callable[[View], object]:
    return lambda view: read(view.image.frames)


def main(rounds: int = 20) -> int:
    """Measure, print, and say by the exit code whether the floors hold."""
    low = []
    for each in contenders():
        if not agree(each):
            print(f"{each.format.name}: the readers disagree on what the tape holds")
            return 1
        recognise = rate(each, each.format.recognise, rounds)
        parse = rate(each, each.format.parse, rounds)
        beside = ""
        if each.plain and each.load:
            plain = rate(each, _of_frames(each.plain), rounds)
            load = rate(each, each.load, rounds)
            beside = (
                f"; to memory {load:5.1f}, {load / plain:4.1f} times the {plain:4.1f} of the plain "
                "reader"
            )
        print(
            f"{each.format.name:15} {len(each.image):7} frames; M frames/s: "
            f"recognise {recognise:7.1f}, parse {parse:5.1f}{beside}"
        )
        if recognise < RECOGNISE_FLOOR or parse < PARSE_FLOOR:
            low.append(each.format.name)
    for name in low:
        print(f"{name} is below {RECOGNISE_FLOOR} (recognise) or {PARSE_FLOOR} (parse)")
    return 1 if low else 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:2])))
