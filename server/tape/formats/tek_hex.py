"""Tektronix hexadecimal records, as characters on tape.

Source: three manuals of programmers for read-only memories, seen. One of them words the second
checksum as a sum of bytes; the published record of all ones settles it for digits. The record
that ends a tape gives the start address; readers skip what stands between records.
"""

import re
from functools import partial
from typing import ClassVar

import numpy as np

from server.tape.codes.iso_646 import Iso646
from server.tape.errors import CannotBuild
from server.tape.formats.base import Decoding, Evidence
from server.tape.formats.hex_decoding import decode
from server.tape.hexadecimal.checked import checked_records
from server.tape.hexadecimal.checksums import DigitSums
from server.tape.hexadecimal.memory import stretches
from server.tape.hexadecimal.program import DIVIDES, HexProgram, hex_program
from server.tape.hexadecimal.reading import Placed, Reading, end_record
from server.tape.hexadecimal.recognition import weigh
from server.tape.hexadecimal.records import Grammar
from server.tape.image import Image
from server.tape.loading import Loads
from server.tape.material import Kind, Material, Pattern, Writing
from server.tape.self_checking import Checker
from server.tape.view import View

_ADDRESSES = 1 << 16
_BEFORE_DATA = 4
_START = re.compile(rb"/[0-9A-Fa-f]{8}")


class TekHex:
    """`/`, address, length, checksum of these, data, checksum of the data, in digits."""

    name: ClassVar[str] = "tek-hex"
    title: ClassVar[str] = "Tektronix hexadecimal"
    source: ClassVar[str] = "three manuals of programmers for read-only memories"
    grammar: ClassVar[Grammar] = Grammar(
        mark=b"/",
        head=1,
        check=DigitSums(),
        beyond=5,
        least=4,
        length_at=2,
        address_at=0,
        saved=1,
        abort=b"//",
    )
    takes: ClassVar[tuple[Kind, ...]] = (Kind.MEMORY,)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.MEMORY,)
    codes: ClassVar[tuple[str, ...]] = (Iso646.name,)
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.BLANK, Pattern.RUB_OUT)
    wakes: ClassVar[bytes | None] = grammar.mark
    divides: ClassVar[str] = DIVIDES

    def recognise(self, view: View) -> Evidence | None:
        """How many of the first records pass their checksums."""
        if view.image.levels not in Iso646.levels:
            return None
        weighed = weigh(view.characters().text, self.grammar, _START)
        return Evidence(*weighed) if weighed else None

    def parse(self, view: View) -> Decoding:
        """The memory that the records load, as a dump; each failing record is a finding."""
        return decode(view, self)

    def checker(self, view: View) -> Checker:
        """What tells the records that pass their checksums."""
        return partial(checked_records, grammar=self.grammar)

    def read(self, placed: Placed) -> Reading:
        """The meaning of the records."""
        records = placed.records
        lengths = np.maximum(records.sizes - self.grammar.beyond, 0)
        addresses = records.number(0, 2)
        data = np.flatnonzero(lengths > 0)
        room = _ADDRESSES - addresses
        loads = stretches(
            records,
            data,
            skip=_BEFORE_DATA,
            lengths=lengths,
            addresses=addresses,
            room=room,
            low=0,
            frames=(placed.starts, placed.stops),
        )
        end = end_record(records, lengths == 0)
        return Reading(
            dialect=None,
            loads=loads,
            end=end,
            entry_address=None if end is None else _entry(int(addresses[end]), loads),
            findings=[placed.wrap(each) for each in data[lengths[data] > room[data]].tolist()],
        )

    def build(self, content: HexProgram) -> Image:
        """The tape that carries `content`; without an entry address the last record gives 0.

        Raises:
            CannotBuild: `content` does not fit records of this format.
        """
        content.check(longest=0xFF)
        if content.highest >= _ADDRESSES:
            raise CannotBuild(
                "the program lies outside the addresses 0 to FFFF",
                mend="give addresses of 16 bits at most",
            )
        records = [_record(*chunk) for chunk in content.chunks()]
        records.append(_record(content.entry_address or 0, b""))
        return content.image(records)

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries `material` in records."""
        return self.build(hex_program(material, way))


def _record(address: int, data: bytes) -> bytes:
    head = address.to_bytes(2, "big") + bytes([len(data)])
    parts = [head, data] if data else [head]
    return b"/" + b"".join(_summed(part) for part in parts)


def _summed(part: bytes) -> bytes:
    """The digits of `part`, and after them their sum."""
    digits = part.hex().upper()
    return f"{digits}{sum(int(digit, 16) for digit in digits) & 0xFF:02X}".encode("ascii")


def _entry(address: int, loads: Loads) -> int | None:
    """The start address; a last record without one gives zero."""
    loads_zero = bool(np.any((loads.addresses == 0) & (loads.lengths > 0)))
    return address if address or loads_zero else None
