"""Character codes, by name. A new code is one file in this folder and one entry here."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from server.tape.codes.base import Code
from server.tape.codes.iso_646 import Iso646
from server.tape.codes.iso_840 import Iso840
from server.tape.codes.ita2 import Ita2, Ita2UnitedStates
from server.tape.codes.rs_244 import Rs244

CODES: Final[Mapping[str, Code]] = MappingProxyType(
    {code.name: code for code in (Iso646(), Ita2(), Ita2UnitedStates(), Rs244(), Iso840())}
)
