"""What a person at the machine wants to know of a program before it runs.

Numbers are shown as they are punched: where the decimal point stands, which zeros may be left
out and the unit belong to the control, and no tape tells (ISO 6983, from memory).
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from server.tape.nc.blocks import END, WORD, Program

AXES: Final = "XYZUVWABC"
"""Linear axes, those parallel to them, and turns about them (ISO 6983, from memory)."""

_MOST_TOOLS = 24

Facts = tuple[tuple[str, str], ...]


def facts_of(program: Program, frames: int) -> Facts:
    """Names and values worth showing of `program`, which takes `frames` frames of tape."""
    by_letter = _by_letter(program.bare)
    return tuple(_facts(program, by_letter, frames))


def _facts(
    program: Program, by_letter: dict[str, list[str]], frames: int
) -> Iterator[tuple[str, str]]:
    blocks = len(program.filled)
    yield "program length", f"{blocks} blocks in {frames} frames"
    numbers = [block.number for block in program.filled if block.number is not None]
    if numbers:
        yield "block numbers", f"N{numbers[0]} to N{numbers[-1]}"
    skipped = sum(1 for block in program.filled if block.skipped)
    if skipped:
        yield "blocks that may be skipped", str(skipped)
    if "T" in by_letter:
        yield "tools", _listed(f"T{number}" for number in dict.fromkeys(by_letter["T"]))
    for letter, what in (("F", "highest feed"), ("S", "highest spindle speed")):
        if letter in by_letter:
            yield what, letter + max(by_letter[letter], key=float)
    for axis in AXES:
        if axis in by_letter:
            words = by_letter[axis]
            least, greatest = min(words, key=float), max(words, key=float)
            yield f"axis {axis}", f"{axis}{least} to {axis}{greatest}"
    ends = END.findall(program.bare)
    if ends:
        yield "ends with", ends[-1].decode("ascii")


def _by_letter(text: bytes) -> dict[str, list[str]]:
    """The different numbers that follow each letter, in the order in which they first stand."""
    numbers: dict[str, list[str]] = {}
    for letter, number in dict.fromkeys(WORD.findall(text)):
        numbers.setdefault(letter.decode("ascii"), []).append(number.decode("ascii"))
    return numbers


def _listed(names: Iterable[str]) -> str:
    all_names: Sequence[str] = tuple(names)
    more = len(all_names) - _MOST_TOOLS
    shown = ", ".join(all_names[:_MOST_TOOLS])
    return f"{shown} and {more} more" if more > 0 else shown
