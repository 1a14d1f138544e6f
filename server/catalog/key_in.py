"""A bootstrap as people write it down, and the cells that it comes to: an address and contents.

    7756: 6032 6031 5357    ; waits for a frame

An address, a colon, and what goes into the cells from there on, in the notation of the machine;
what stands behind a semicolon is a remark on the first of them.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

from server.catalog.errors import Invalid
from server.tape.cpu.base import ADDRESS_SPACE
from server.tape.cpu.notation import Notation
from server.tape.machine_notation import Writing

_LINE = re.compile(r"(?P<address>[^:;]+):(?P<cells>[^:;]+)(?:;(?P<remark>.*))?")

_HEX = re.compile("[0-9A-Fa-f]{1,6}")
_OCTAL = re.compile("[0-7]{1,6}")

MOST_CELLS = 256
"""More than anybody keys in; a longer loader is a tape of its own (common practice, no source)."""


class Cell(NamedTuple):
    """One cell to key in, as its people write it."""

    address: str
    contents: str
    remark: str = ""


def cells_of(text: str, writing: Writing) -> tuple[Cell, ...]:
    """The cells that the lines of `text` give, in their order.

    Raises:
        Invalid: a line is none, or names an address or contents that the machine has not.
    """
    cells: list[Cell] = []
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip():
            cells += _cells(line, number, writing)
        if len(cells) > MOST_CELLS:
            raise _fault(number, f"more than {MOST_CELLS} cells are not keyed in by hand")
    return tuple(cells)


def _cells(line: str, number: int, writing: Writing) -> Iterator[Cell]:
    found = _LINE.fullmatch(line)
    if found is None:
        raise _fault(number, "write an address, a colon, and what goes into the cells from there")
    address = _address(found["address"].split(), writing, number)
    for at, word in enumerate(found["cells"].split()):
        contents = _number(word, writing, number)
        if contents >= 1 << writing.keyed_bits:
            raise _fault(number, f"{word[:20]} is more than a cell of the machine holds")
        yield Cell(
            writing.address(address + at * writing.keyed_step),
            writing.keyed(contents),
            (found["remark"] or "").strip() if at == 0 else "",
        )


def _address(words: list[str], writing: Writing, line: int) -> int:
    """The address that `words` write: in split octal, its two bytes."""
    parts = [_number(word, writing, line) for word in words]
    split = writing.notation is Notation.SPLIT_OCTAL
    if len(parts) != 1 + split or (split and max(parts) > 0xFF):
        raise _fault(line, f"{' '.join(words)[:20]} is no address in {writing.title}")
    address = parts[0] << 8 | parts[1] if split else parts[0]
    if address >= ADDRESS_SPACE // writing.cell_bytes:
        raise _fault(line, f"{' '.join(words)[:20]} is an address that the machine has not")
    return address


def _number(word: str, writing: Writing, line: int) -> int:
    base, digits = (16, _HEX) if writing.notation is Notation.HEX else (8, _OCTAL)
    if not digits.fullmatch(word):
        raise _fault(line, f"{word[:20]} is no number in {writing.title}")
    return int(word, base)


def _fault(line: int, what: str) -> Invalid:
    return Invalid(
        f"Line {line} of the bootstrap cannot be taken: {what}.",
        where=f"bootstrap, line {line}",
        mend="Write lines such as 7756: 6032 6031 ; remark, in the notation of the sheet.",
        fields={"bootstrap": f"line {line}: {what}"},
    )
