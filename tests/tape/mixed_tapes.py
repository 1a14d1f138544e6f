"""A thousand tapes of every format, clean and damaged, and what they are taken for.

Run as `python -m tests.tape.mixed_tapes [TAPES]` for the table. The tapes are invented: programs
drawn at random with a stated seed, in the sizes that clubs hold (some 150 frames and up), each
damaged, turned or lettered in one of the ways of `DAMAGE`.
"""

import random
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Final, NamedTuple

from server.tape.basic.program import BasicProgram
from server.tape.blocks.program import BlockProgram
from server.tape.codes.base import Parity
from server.tape.cpu.i8080 import I8080
from server.tape.formats import FORMATS
from server.tape.formats.checksum_block import CheckedProgram
from server.tape.formats.nc_program import NcContent
from server.tape.formats.raw_binary import RawCode
from server.tape.formats.text import TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import Decoded, decode
from server.tape.image import Image, Orientation
from server.tape.lettering import letter_frames
from server.tape.twelve_bit.program import WordProgram

SEED: Final = 1975
SURE: Final = 0.9
"""An answer this sure must not be wrong."""

_WORDS: Final = (
    "TIDE HARBOUR LAMP READER PUNCH TAPE NUMBER TABLE ROUND WEATHER BOAT SIGNAL TRAIN "
    "THE AND WITH FROM THIS FOR ARE ALL NOT"
).split()
_SIMPLE: Final = ("MOV A,M", "INX H", "ANA A", "INR C", "XRA A", "STC", "DAD B", "PUSH H", "POP H")


class Tape(NamedTuple):
    """An image, the format it is in, and what was done to it."""

    image: Image
    format: str
    damage: str


def _basic_lines(draw: random.Random) -> tuple[tuple[int, str], ...]:
    count = draw.randrange(8, 60)
    statements = (
        lambda: f'PRINT "{_phrase(draw, 3)}"',
        lambda: f"LET {draw.choice('ABCXY')}=INT(RND(1)*{draw.randrange(2, 99)})+1",
        lambda: (
            f"IF {draw.choice('ABC')}>{draw.randrange(99)} THEN {10 * draw.randrange(1, count)}"
        ),
        lambda: f"FOR I=1 TO {draw.randrange(2, 40)}",
        lambda: "NEXT I",
        lambda: f"GOSUB {10 * draw.randrange(1, count)}",
        lambda: f"REM {_phrase(draw, 4)}",
        lambda: f'INPUT "{_phrase(draw, 1)}";{draw.choice("NMQ")}',
    )
    return tuple((10 * (at + 1), draw.choice(statements)()) for at in range(count))


def _phrase(draw: random.Random, words: int) -> str:
    return " ".join(draw.choice(_WORDS) for _ in range(words))


def _prose(draw: random.Random) -> tuple[str, ...]:
    return tuple(f"{_phrase(draw, draw.randrange(4, 9))}." for _ in range(draw.randrange(5, 40)))


def _memory(draw: random.Random, *, step: int = 1, top: int = 0x8000) -> dict[int, bytes]:
    start = step * draw.randrange(0, top // (2 * step))
    return {start: _code(draw, draw.randrange(60, 900), start)[: top - start]}


def _code(draw: random.Random, instructions: int, start: int) -> bytes:
    """8080 code: common instructions, and jumps and calls to the beginnings of others."""
    opcodes = {opcode.text: code for code, opcode in I8080.table.pages[b""].items()}
    sizes, kinds = [], []
    for _ in range(instructions):
        kind = draw.choices(("simple", "immediate", "jump"), (5, 3, 2))[0]
        kinds.append(kind)
        sizes.append({"simple": 1, "immediate": 2, "jump": 3}[kind])
    places = [start + sum(sizes[:at]) for at in range(instructions)]
    code = bytearray()
    for kind in kinds:
        if kind == "simple":
            code.append(opcodes[draw.choice(_SIMPLE)])
        elif kind == "immediate":
            code += bytes(
                (opcodes[draw.choice(("MVI A,{}", "CPI {}", "OUT {}"))], draw.randrange(256))
            )
        else:
            branch = draw.choice(("JNZ {}", "CALL {}", "JZ {}", "JC {}"))
            code += bytes([opcodes[branch]]) + draw.choice(places).to_bytes(2, "little")
    return bytes(code) + b"\xc9"


def _control_blocks(draw: random.Random) -> tuple[str, ...]:
    blocks = ["%"]
    for number in range(1, draw.randrange(15, 80)):
        words = [f"N{number * 5}", f"G0{draw.randrange(4)}"]
        words += [f"{axis}{draw.randrange(-9999, 9999)}" for axis in draw.sample("XYZ", 2)]
        words += [f"F{draw.randrange(50, 900)}"] * draw.randrange(2)
        blocks.append(" ".join(words))
    return (*blocks, "M30")


def _words(draw: random.Random) -> dict[int, bytes]:
    count = draw.randrange(60, 400)
    pool = (0o7200, 0o1200, 0o3210, 0o5203, 0o7402, 0o7041, 0o2215, 0o6046, 0o6041, 0o5600, 0o4240)
    values = (draw.choice(pool) + draw.randrange(8) * draw.randrange(2) for _ in range(count))
    return {0o200: b"".join(value.to_bytes(2, "big") for value in values)}


def _hex(draw: random.Random) -> HexProgram:
    parity = draw.choice((Parity.EVEN, Parity.MARK, Parity.SPACE, Parity.ODD))
    memory = _memory(draw)
    return HexProgram(memory, min(memory), parity=parity)


MAKERS: Final[Mapping[str, Callable[[random.Random], Image]]] = {
    "text": lambda draw: FORMATS["text"].build(
        TextContent(
            tuple(f"{number} {text}" for number, text in _basic_lines(draw))
            if draw.random() < 0.5
            else _prose(draw),
            draw.choice((Parity.EVEN, Parity.ODD, Parity.MARK, Parity.SPACE)),
        )
    ),
    "intel-hex": lambda draw: FORMATS["intel-hex"].build(_hex(draw)),
    "s-record": lambda draw: FORMATS["s-record"].build(_hex(draw)),
    "semicolon-hex": lambda draw: FORMATS["semicolon-hex"].build(
        replace(_hex(draw), entry_address=None)
    ),
    "tek-hex": lambda draw: FORMATS["tek-hex"].build(_hex(draw)),
    "nc-program": lambda draw: FORMATS["nc-program"].build(
        NcContent(_control_blocks(draw), draw.choice(("rs-244", "iso-840")))
    ),
    "absolute-block": lambda draw: FORMATS["absolute-block"].build(
        BlockProgram(_memory(draw, step=2), 0o1000)
    ),
    "checksum-block": lambda draw: FORMATS["checksum-block"].build(
        CheckedProgram(_memory(draw), 0x100, label="LMP")
    ),
    "rim12": lambda draw: FORMATS["rim12"].build(WordProgram(_words(draw))),
    "bin12": lambda draw: FORMATS["bin12"].build(WordProgram(_words(draw))),
    "crunched-basic": lambda draw: FORMATS["crunched-basic"].build(
        BasicProgram("A", _basic_lines(draw))
    ),
    "raw-binary": lambda draw: FORMATS["raw-binary"].build(
        RawCode(_code(draw, draw.randrange(200, 900), 0))
    ),
    "unrecognised": lambda draw: FORMATS["unrecognised"].build(
        bytes(40) + draw.randbytes(draw.randrange(100, 3000)) + bytes(40)
    ),
}


def _flip(image: Image, draw: random.Random, count: int) -> Image:
    frames = bytearray(image.frames)
    start, stop = image.data_span()
    for _ in range(count):
        frames[draw.randrange(start, stop)] ^= 1 << draw.randrange(image.levels)
    return Image(bytes(frames), image.levels)


def _drop(image: Image, draw: random.Random) -> Image:
    at = draw.randrange(*image.data_span())
    return Image(image.frames[:at] + image.frames[at + 1 :], image.levels)


def _letter(image: Image, draw: random.Random) -> Image:
    letters = letter_frames(f"{draw.choice(_WORDS)} {draw.randrange(1, 99)}", levels=image.levels)
    return Image(bytes(40) + letters + bytes(40) + image.frames, image.levels)


DAMAGE: Final[Mapping[str, Callable[[Image, random.Random], Image]]] = {
    "clean": lambda image, _: image,
    "parity-damaged": lambda image, draw: _flip(image, draw, max(1, len(image) // 400)),
    "bit-flipped": lambda image, draw: _flip(image, draw, draw.randrange(1, 4)),
    "frame-dropped": _drop,
    "reversed": lambda image, _: image.turned(Orientation.REVERSED),
    "mirrored": lambda image, _: image.turned(Orientation.MIRRORED),
    "both": lambda image, _: image.turned(Orientation.REVERSED_MIRRORED),
    "lettered": _letter,
}


def tapes(count: int, seed: int = SEED) -> Iterator[Tape]:
    """`count` tapes: every format in turn, each in every kind of damage in turn."""
    draw = random.Random(seed)
    for number in range(count):
        name = list(MAKERS)[number % len(MAKERS)]
        damage = list(DAMAGE)[number // len(MAKERS) % len(DAMAGE)]
        yield Tape(DAMAGE[damage](MAKERS[name](draw), draw), name, damage)


class Answer(NamedTuple):
    """A tape, and what was made of it."""

    tape: Tape
    decoded: Decoded

    @property
    def found(self) -> str:
        """The format that the tape was taken for."""
        return self.decoded.decoding.format

    @property
    def confidence(self) -> float:
        """How surely."""
        return self.decoded.identified[0].confidence

    @property
    def wrong(self) -> bool:
        """Whether another format was named, or a format with a check of its own not known.

        Bare machine code carries no sign of itself: to call it unrecognised claims nothing.
        """
        if self.found == "unrecognised":
            return self.tape.format not in {"raw-binary", "unrecognised"}
        return self.found.removeprefix("bootstrap+") != self.tape.format


def answers(count: int, seed: int = SEED) -> list[Answer]:
    """What each of `count` tapes is taken for."""
    return [Answer(tape, decode(tape.image.frames)) for tape in tapes(count, seed)]


def main() -> None:
    """Print the table: a row for what the tapes are, a column for what they were taken for."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    found = answers(count)
    table = Counter((each.tape.format, each.found) for each in found)
    for name in MAKERS:
        row = {to: number for (of, to), number in sorted(table.items()) if of == name}
        print(f"{name:16}", "  ".join(f"{to} {number}" for to, number in row.items()))
    wrong = [each for each in found if each.wrong]
    print(f"{len(wrong)} of {count} wrong, {len(wrong) / count:.2%}")
    for each in wrong:
        print(f"  {each.tape.format} ({each.tape.damage}) as {each.found}, {each.confidence}")


if __name__ == "__main__":
    main()
