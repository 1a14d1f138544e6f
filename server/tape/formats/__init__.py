"""Record formats, by name. A new format is one file in this folder and one entry here."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final, TypeAlias

from server.tape.basic import DIALECTS
from server.tape.basic.dialect import Dialect
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.base import Format
from server.tape.formats.bin12 import Bin12
from server.tape.formats.checksum_block import ChecksumBlock
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.nc_program import NcProgram
from server.tape.formats.raw_binary import RawBinary
from server.tape.formats.rim12 import Rim12
from server.tape.formats.s_record import SRecord
from server.tape.formats.semicolon_hex import SemicolonHex
from server.tape.formats.tek_hex import TekHex
from server.tape.formats.text import Text
from server.tape.formats.unrecognised import Unrecognised

_ALL: Final[tuple[Format[Any], ...]] = (
    IntelHex(),
    SRecord(),
    SemicolonHex(),
    TekHex(),
    NcProgram(),
    AbsoluteBlock(),
    ChecksumBlock(),
    Rim12(),
    Bin12(),
    CrunchedBasic(),
    RawBinary(),
    Text(),
    Unrecognised(),
)

Formats: TypeAlias = Mapping[str, Format[Any]]

FORMATS: Final[Formats] = MappingProxyType({each.name: each for each in _ALL})


def formats_with(dialects: Mapping[str, Dialect]) -> Formats:
    """The formats, where crunched BASIC may be in one of `dialects` besides those known here."""
    crunched = CrunchedBasic({**DIALECTS, **dialects})
    return MappingProxyType({**FORMATS, crunched.name: crunched})
