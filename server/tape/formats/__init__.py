"""Record formats, by name. A new format is one file in this folder and one entry here."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from server.tape.formats.base import Format
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.nc_program import NcProgram
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
    CrunchedBasic(),
    Text(),
    Unrecognised(),
)

FORMATS: Final[Mapping[str, Format[Any]]] = MappingProxyType({each.name: each for each in _ALL})
