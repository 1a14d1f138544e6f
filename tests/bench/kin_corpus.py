"""A library of kin whose kinship is known: what was made of what, and how.

Listings and machine code of one club: four in five are BASIC, the rest hexadecimal tapes and
frames that nobody recognised. One in ten is a changed copy of an older one.
"""

from collections.abc import Callable, Iterator
from random import Random
from typing import NamedTuple

from server.tape.basic.program import program_from_text
from server.tape.codes.base import Parity
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.s_record import SRecord
from server.tape.formats.text import Text, TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import decode
from server.tape.language import line_number
from server.tape.listing import Line, Listing
from server.tape.normal_form import NormalForm, form_of, normal_form
from tests.bench.programs import (
    badly_misread,
    line_added,
    misread,
    much_reworked,
    program,
    renumbered_throughout,
    reworked,
    size,
)


class Code(NamedTuple):
    """Machine code: pieces of it, and after each a jump to the beginning of another."""

    start: int
    pieces: tuple[tuple[bytes, int], ...]

    @property
    def data(self) -> bytes:
        """The code as it is assembled for its address."""
        return b"".join(
            piece + b"\xc3" + ((self.start + to) & 0xFFFF).to_bytes(2, "little")
            for piece, to in self.pieces
        )


Content = list[str] | Code | bytes
"""The lines of a program, machine code, or frames."""

_INSTRUCTIONS = bytes(range(0x3E, 0x100, 3))


def code(random: Random) -> Code:
    """Code of some hundred bytes, up to 8 KB."""
    count = min(700, max(8, int(random.lognormvariate(3.4, 0.9))))
    lengths = [random.randint(3, 17) for _ in range(count)]
    places = [sum(lengths[:at]) + 3 * at for at in range(0, count, max(1, count // 40))]
    pieces = tuple(
        (bytes(random.choices(_INSTRUCTIONS, k=length)), random.choice(places))
        for length in lengths
    )
    return Code(random.randrange(0x100, 0xC000, 0x10), pieces)


def frames(random: Random) -> bytes:
    """Frames of no format: data of some hundred bytes, up to 8 KB."""
    count = min(8000, max(80, int(random.lognormvariate(6.5, 0.9))))
    return bytes(random.choices(range(1, 255), k=count))


def original(random: Random) -> Content:
    """Something that is a copy of nothing."""
    kind = random.random()
    if kind < 0.8:
        return program(random, size(random))
    return code(random) if kind < 0.93 else frames(random)


# ---------------------------------------------------------------- what happens to a tape


def cut_short(random: Random, lines: list[str]) -> list[str]:
    """The beginning of a program: a third to nine tenths of it, or what tells something."""
    return lines[: max(4, int(len(lines) * random.uniform(0.34, 0.88)))]


def joined(random: Random, lines: list[str]) -> list[str]:
    """A reel that carries the program and another one, before it or after it."""
    other = program(random, size(random))
    return [*lines, *other] if random.random() < 0.5 else [*other, *lines]


def characters_dropped(random: Random, lines: list[str]) -> list[str]:
    """A reading that missed a frame in 200."""
    text = "\n".join(lines)
    return "".join(each for each in text if random.random() > 1 / 200).split("\n")


def relocated(random: Random, given: Code) -> Code:
    """The code, assembled for another address."""
    others = [start for start in range(0x100, 0xC000, 0x10) if start != given.start]
    return given._replace(start=random.choice(others))


def patched(random: Random, given: Code) -> Code:
    """The code with a few pieces changed for others as long."""
    pieces = list(given.pieces)
    for _ in range(max(1, len(pieces) // 20)):
        at = random.randrange(len(pieces))
        fresh = bytes(random.choices(_INSTRUCTIONS, k=len(pieces[at][0])))
        pieces[at] = (fresh, pieces[at][1])
    return given._replace(pieces=tuple(pieces))


def code_cut_short(random: Random, given: Code) -> Code:
    """The beginning of the code."""
    kept = max(6, int(len(given.pieces) * random.uniform(0.34, 0.88)))
    return given._replace(pieces=given.pieces[:kept])


def frames_dropped(random: Random, given: bytes) -> bytes:
    """A reading that missed a frame in 200 and misread one in 100."""
    kept = (each for each in given if random.random() > 1 / 200)
    return bytes(each ^ 4 if random.random() < 1 / 100 else each for each in kept)


def frames_cut_short(random: Random, given: bytes) -> bytes:
    """The beginning of a reading."""
    return given[: max(64, int(len(given) * random.uniform(0.34, 0.88)))]


def frames_joined(random: Random, given: bytes) -> bytes:
    """A reel that carries the frames and others, with blank tape between."""
    both = [given, frames(random)]
    random.shuffle(both)
    return bytes(40).join(both)


def the_same(random: Random, given: Content) -> Content:
    """A copy: only its leader, its parity or its format will be another."""
    del random
    return given


Change = Callable[[Random, Content], Content]
CHANGES: dict[type, tuple[Change, ...]] = {
    list: (
        line_added,  # type: ignore[dict-item]  # each is asked only for what it takes
        reworked,
        much_reworked,
        misread,
        badly_misread,
        characters_dropped,
        renumbered_throughout,
        cut_short,
        joined,
        the_same,
    ),
    Code: (relocated, patched, code_cut_short, the_same),  # type: ignore[dict-item]
    bytes: (frames_dropped, frames_cut_short, frames_joined, the_same),  # type: ignore[dict-item]
}


def library(random: Random) -> Iterator[Content]:
    """Contents without end, one in ten a changed copy of one before."""
    originals: list[Content] = []
    while True:
        if originals and random.random() < 0.1:
            chosen = random.choice(originals)
            yield random.choice(CHANGES[type(chosen)])(random, chosen)
        else:
            originals.append(original(random))
            yield originals[-1]


def form(content: Content) -> NormalForm:
    """The normal form, as if a tape had been decoded; ten times as quick."""
    if isinstance(content, list):
        lines = (Line(line, 0, len(line), line_number(line)) for line in content)
        return form_of(
            "text", "basic", Listing(tuple(lines)), "\n".join(content).encode("latin-1"), {}
        )
    if isinstance(content, Code):
        data = content.data
        told = b":%04X" % content.start + data
        return form_of("intel-hex", "machine code", Listing(), told, {content.start: data})
    return form_of("unrecognised", None, Listing(), content, {})


class Query(NamedTuple):
    """A changed copy to ask about: of which tape, what was done, and what a reader makes of it."""

    of: int
    change: str
    form: NormalForm


def queries(random: Random, oldest: list[Content], count: int) -> list[Query]:
    """Changed copies of the oldest tapes, each kind of change in turn, punched and decoded."""
    by_kind = [[at for at, each in enumerate(oldest) if isinstance(each, kind)] for kind in CHANGES]
    turns = [
        (places, change)
        for places, kind in zip(by_kind, CHANGES, strict=True)
        for change in CHANGES[kind]
    ]
    made = []
    for number in range(count):
        places, change = turns[number % len(turns)]
        at = random.choice(places)
        name, tape = punched(random, change(random, oldest[at]))
        done = change.__name__ if change is not the_same else f"{name} of another make"
        made.append(Query(at + 1, done, normal_form(decode(tape).decoding)))
    return made


def punched(random: Random, content: Content) -> tuple[str, bytes]:
    """A tape that carries the content, in any of the ways there are, and what it is called."""
    leader = random.randint(20, 200)
    if isinstance(content, bytes):
        return "frames", bytes(leader) + content + bytes(random.randint(20, 200))
    if isinstance(content, Code):
        hexed = HexProgram({content.start: content.data}, leader=leader)
        return "code", random.choice((IntelHex, SRecord))().build(hexed).frames
    text = "\n".join(content)
    rising = [line_number(line) for line in content]
    crunchable = None not in rising and rising == sorted(set(rising), key=lambda key: key or 0)
    if crunchable and max(map(len, content)) < 250 and random.random() < 0.5:
        return "crunched", CrunchedBasic().build(program_from_text(text)).frames
    parity = random.choice((Parity.EVEN, Parity.ODD, Parity.NONE, Parity.MARK))
    lines = tuple("".join(each if " " <= each <= "~" else "?" for each in line) for line in content)
    return "text", Text().build(TextContent(lines, parity=parity, leader=leader)).frames
