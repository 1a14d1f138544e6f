"""How the people of a machine wrote its addresses: the one place that decides it, as tables.

What a tape's format is made for counts first, then what a person says of the machine, then the
processor that its code is likely for; hexadecimal where none of them tells. Which machines had
which habit: common practice, no source.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from server.tape.anatomy import BOOTSTRAP
from server.tape.cpu.notation import Notation


@dataclass(frozen=True, slots=True)
class Writing:
    """A notation for cells of `cell_bytes` bytes (2 for words of 12 bits); `title` names it.

    `keyed_bits` is how much is keyed in at the panel at once: a machine of 16 bits has a byte at
    every address, but is keyed in by words, which stand at every other one.
    """

    notation: Notation
    cell_bytes: int
    title: str
    keyed_bits: int = 8

    @property
    def keyed_step(self) -> int:
        """How many addresses lie between what is keyed in and what is keyed in next."""
        return 2 if self.keyed_bits == 16 else 1

    def keyed(self, value: int) -> str:
        """What is keyed in at one address."""
        if self.notation is Notation.HEX:
            return f"{value:0{self.keyed_bits // 4}X}"
        return f"{value:0{-(-self.keyed_bits // 3)}o}"

    def address(self, value: int) -> str:
        """An address."""
        return self.notation.address(value, self.cell_bytes)

    def cells(self, data: bytes) -> str:
        """What so many whole cells hold, the high byte of each first."""
        size = self.cell_bytes
        values = (int.from_bytes(data[at : at + size]) for at in range(0, len(data), size))
        return " ".join(self.notation.cell(value, size) for value in values)

    @property
    def of_frames(self) -> "Writing":
        """The same notation for frames, each of which is a byte."""
        return self if self.cell_bytes == 1 else AS_CHOSEN[self.notation.value, 1]

    def span(self, start: int, end: int) -> str:
        """Addresses from `start` to `end`, by the first and the last of them."""
        return f"{self.address(start)} to {self.address(end)}"

    def span_in_full(self, start: int, end: int) -> str:
        """The same, and in hexadecimal too where the notation splits an address in bytes."""
        return self._in_full(self.span(start, end), HEXADECIMAL.span(start, end))

    def address_in_full(self, value: int) -> str:
        """One address, in hexadecimal too where the notation splits it in bytes."""
        return self._in_full(self.address(value), HEXADECIMAL.address(value))

    def _in_full(self, written: str, plainly: str) -> str:
        split = self.notation is Notation.SPLIT_OCTAL
        return f"{written} (hex {plainly})" if split else written


HEXADECIMAL: Final = Writing(Notation.HEX, 1, "hexadecimal")
OCTAL: Final = Writing(Notation.OCTAL, 1, "octal, 16 bits", keyed_bits=16)
OCTAL_WORDS: Final = Writing(Notation.OCTAL, 2, "octal, words of 12 bits", keyed_bits=12)
SPLIT_OCTAL: Final = Writing(Notation.SPLIT_OCTAL, 1, "split octal, each byte in three digits")

BY_FORMAT: Final[Mapping[str, Writing]] = MappingProxyType(
    {
        "rim12": OCTAL_WORDS,
        "bin12": OCTAL_WORDS,
        "absolute-block": OCTAL,
        "checksum-block": SPLIT_OCTAL,
        "intel-hex": HEXADECIMAL,
        "s-record": HEXADECIMAL,
        "semicolon-hex": HEXADECIMAL,
        "tek-hex": HEXADECIMAL,
        "crunched-basic": HEXADECIMAL,
    }
)
"""A loader of hexadecimal records is typed at in hexadecimal, whatever the panel says; where
an interpreter puts a BASIC program, nobody ever keys in."""

BY_MACHINE: Final[tuple[tuple[re.Pattern[str], Writing], ...]] = tuple(
    (re.compile(pattern, re.IGNORECASE), writing)
    for pattern, writing in (
        (r"\b12[ -]bit", OCTAL_WORDS),
        (r"\b16[ -]bit mini", OCTAL),
        (r"\b80(08|80)\b", SPLIT_OCTAL),
        (r"\b(65\d\d|68\d\d|z80)\b", HEXADECIMAL),
    )
)
"""What a machine is called, in a person's words, and how its people wrote; the first that fits."""

BY_PROCESSOR: Final[Mapping[str, Writing]] = MappingProxyType(
    {
        "8080": SPLIT_OCTAL,
        "z80": HEXADECIMAL,
        "6502": HEXADECIMAL,
        "6800": HEXADECIMAL,
        "12-bit": OCTAL_WORDS,
    }
)

AS_CHOSEN: Final[Mapping[tuple[str, int], Writing]] = MappingProxyType(
    {
        (each.notation.value, each.cell_bytes): each
        for each in (HEXADECIMAL, OCTAL, OCTAL_WORDS, SPLIT_OCTAL)
    }
    | {
        ("hex", 2): Writing(Notation.HEX, 2, "hexadecimal, words of 12 bits", keyed_bits=12),
        # Words are never split in bytes at a panel.
        ("split-octal", 2): OCTAL_WORDS,
    }
)
"""What a notation chosen by hand makes of cells of a size."""


def writing_of(
    format_name: str, processor: str | None = None, machine: str = "", chosen: str = ""
) -> Writing:
    """How the addresses of a tape are written; `chosen` is a notation set by hand, or nothing.

    `format_name` may begin with the mark of a first stage; `machine` is what a person wrote.
    """
    usual = (
        BY_FORMAT.get(format_name.removeprefix(BOOTSTRAP))
        or next((writing for pattern, writing in BY_MACHINE if pattern.search(machine)), None)
        or BY_PROCESSOR.get(processor or "", HEXADECIMAL)
    )
    return AS_CHOSEN[Notation(chosen).value, usual.cell_bytes] if chosen else usual
