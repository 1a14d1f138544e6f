"""Crunched BASIC: dialects as data, and lines to tokens and back.

A new dialect is one data file in this folder and one entry here, or a table that a club keeps
beside its archive (`Dialect.from_table`); which one a tape is written in is chosen by evidence
(`server.tape.basic.plausibility`), never by the order of this list.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from server.tape.basic.dialect import Dialect
from server.tape.basic.dialect_4k_8080 import DIALECT_4K_8080
from server.tape.basic.dialect_8k_6502 import DIALECT_8K_6502
from server.tape.basic.dialect_8k_8080 import DIALECT_8K_8080

DIALECTS: Final[Mapping[str, Dialect]] = MappingProxyType(
    {each.name: each for each in (DIALECT_8K_8080, DIALECT_4K_8080, DIALECT_8K_6502)}
)
