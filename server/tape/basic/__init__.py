"""Crunched BASIC: dialects as data, and lines to tokens and back.

A new dialect is one data file in this folder and one entry here; which one a tape is written in
is chosen by evidence (`server.tape.basic.plausibility`), never by the order of this list.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from server.tape.basic.dialect import Dialect
from server.tape.basic.dialect_8k_8080 import DIALECT_8K_8080

DIALECTS: Final[Mapping[str, Dialect]] = MappingProxyType(
    {each.name: each for each in (DIALECT_8K_8080,)}
)
