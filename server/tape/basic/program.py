"""A BASIC program to be crunched: its lines, and the bytes a machine would save for it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from server.tape.basic import DIALECTS
from server.tape.basic.crunch import crunch
from server.tape.basic.dialect import Dialect
from server.tape.errors import CannotBuild

LEAD: Final = b"\xd3\xd3\xd3"
"""What a saved program begins with (from memory)."""

HIGHEST_NUMBER: Final = 65529
"""The highest line number that can be typed in (from memory, medium)."""

LONGEST_TEXT: Final = 255
"""No interpreter of the class stores more bytes in one line (from memory; most take 72)."""

_NUMBERED = re.compile(r" *([0-9]+) *(.*)")


@dataclass(frozen=True, slots=True)
class BasicProgram:
    """A program: its one-character name, and its lines as (number, text without the number).

    `start_address` is where the first line stands in the memory of the machine that saves it.
    A `bare` program is punched without lead and name, from its first line on.
    """

    name: str
    lines: tuple[tuple[int, str], ...]
    start_address: int = 0x2001
    dialect: str = "8k-8080"
    leader: int = 60
    trailer: int = 60
    bare: bool = False


def program_from_text(text: str, name: str = "A", *, dialect: str = "8k-8080") -> BasicProgram:
    """The program that typing in `text`, a listing, would leave in the machine.

    As there, lines are put in the order of their numbers, a later line takes the place of an
    earlier one of the same number, and a number alone takes its line away.

    Raises:
        CannotBuild: a line has no number.
    """
    lines: dict[int, str] = {}
    for typed in filter(str.strip, text.splitlines()):
        match = _NUMBERED.fullmatch(typed)
        if match is None:
            raise CannotBuild(
                f"the line {typed!r} has no line number", mend="begin each line with its number"
            )
        number = int(match[1])
        lines.pop(number, None)
        if match[2]:
            lines[number] = match[2]
    return BasicProgram(name, tuple(sorted(lines.items())), dialect=dialect)


def program_bytes(program: BasicProgram, dialects: Mapping[str, Dialect] = DIALECTS) -> bytes:
    """What the machine punches for `program`: lead, name, linked lines, zero link.

    Raises:
        CannotBuild: the name is not one printing character, the line numbers do not rise, a
            line is empty or too long, the dialect is not known, or the memory is too small.
    """
    dialect = dialects.get(program.dialect)
    if dialect is None:
        raise CannotBuild(
            f"there is no dialect {program.dialect!r}", mend=f"give one of {', '.join(dialects)}"
        )
    if len(program.name) != 1 or not " " <= program.name <= "~":
        raise CannotBuild(
            f"{program.name!r} cannot be a program's name", mend="give one printing character"
        )
    _check_numbers(program)
    saved = bytearray(b"" if program.bare else LEAD + program.name.encode("ascii"))
    address = program.start_address
    for number, text in program.lines:
        line = number.to_bytes(2, "little") + _stored(number, crunch(text, dialect)) + b"\0"
        address += 2 + len(line)
        if address + 2 > 0x10000:
            raise CannotBuild(
                f"line {number} reaches beyond address FFFF", mend="save it at a lower address"
            )
        saved += address.to_bytes(2, "little") + line
    return bytes(saved + b"\0\0")


def _check_numbers(program: BasicProgram) -> None:
    last = -1
    for number, _ in program.lines:
        if not last < number <= HIGHEST_NUMBER:
            raise CannotBuild(
                f"line number {number} does not follow {last}"
                if number <= last
                else f"line number {number} is above {HIGHEST_NUMBER}",
                mend=f"number the lines upwards, 0 to {HIGHEST_NUMBER}",
            )
        last = number


def _stored(number: int, tokens: bytes) -> bytes:
    if not tokens:
        raise CannotBuild(f"line {number} is empty", mend="leave it out, as the interpreter does")
    if len(tokens) > LONGEST_TEXT:
        raise CannotBuild(
            f"line {number} takes {len(tokens)} bytes", mend=f"split it; {LONGEST_TEXT} fit"
        )
    return tokens
