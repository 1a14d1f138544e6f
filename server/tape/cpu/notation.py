"""Numbers as the people of each machine wrote them.

Octal and split octal (each byte as three octal digits, so that 1FF is 001 377): common
practice, no source.
"""

from enum import StrEnum


class Notation(StrEnum):
    """How addresses and bytes are written."""

    HEX = "hex"
    OCTAL = "octal"
    SPLIT_OCTAL = "split-octal"

    def address(self, value: int, cell_bytes: int = 1) -> str:
        """An address: 16 bits of a byte-wide machine, 12 or more of a word-wide one."""
        if self is Notation.HEX:
            return f"{value:04X}"
        if cell_bytes == 2:
            return f"{value:05o}" if value > 0o7777 else f"{value:04o}"
        if self is Notation.OCTAL:
            return f"{value:06o}"
        return f"{value >> 8:03o} {value & 0xFF:03o}"

    def cell(self, value: int, cell_bytes: int = 1) -> str:
        """What one cell holds."""
        if self is Notation.HEX:
            return f"{value:0{cell_bytes * 2 - (cell_bytes == 2)}X}"
        return f"{value:04o}" if cell_bytes == 2 else f"{value:03o}"
