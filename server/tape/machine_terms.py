"""What the machines of each format take for one cell of memory, and how their people wrote it.

Octal for 12-bit words and for the machines of absolute blocks: common practice, no source.
"""

from types import MappingProxyType
from typing import Final, NamedTuple

from server.tape.anatomy import BOOTSTRAP
from server.tape.cpu.notation import Notation
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.bin12 import Bin12
from server.tape.formats.rim12 import Rim12


class Cells(NamedTuple):
    """How many bytes a cell of memory has, and the notation of its address and content."""

    bytes: int = 1
    notation: Notation = Notation.HEX


_BYTES: Final = Cells()
_WORDS: Final = Cells(2, Notation.OCTAL)

_BY_FORMAT: Final = MappingProxyType(
    {Bin12.name: _WORDS, Rim12.name: _WORDS, AbsoluteBlock.name: Cells(1, Notation.OCTAL)}
)


def cells_of(format_name: str) -> Cells:
    """The cells that a tape in the format of that name loads, a first stage before it or not."""
    return _BY_FORMAT.get(format_name.removeprefix(BOOTSTRAP), _BYTES)
