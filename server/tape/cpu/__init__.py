"""Processors, by name. A new one is one file in this folder and one entry here."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from server.tape.cpu.base import Processor
from server.tape.cpu.i8080 import I8080
from server.tape.cpu.m6502 import M6502
from server.tape.cpu.m6800 import M6800
from server.tape.cpu.twelve_bit import TwelveBit
from server.tape.cpu.z80 import Z80

PROCESSORS: Final[Mapping[str, Processor]] = MappingProxyType(
    {each.name: each for each in (I8080(), Z80(), M6502(), M6800(), TwelveBit())}
)
