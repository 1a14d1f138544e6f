"""Character codes, by name. A new code is one file in this folder and one entry here."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from server.tape.codes.base import Code
from server.tape.codes.iso_646 import Iso646

CODES: Final[Mapping[str, Code]] = MappingProxyType({code.name: code for code in (Iso646(),)})
