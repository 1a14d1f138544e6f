"""Record formats, by name. A new format is one file in this folder and one entry here."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from server.tape.formats.base import Format
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.s_record import SRecord
from server.tape.formats.text import Text
from server.tape.formats.unrecognised import Unrecognised

FORMATS: Final[Mapping[str, Format[Any]]] = MappingProxyType(
    {each.name: each for each in (IntelHex(), SRecord(), CrunchedBasic(), Text(), Unrecognised())}
)
