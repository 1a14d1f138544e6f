"""The `;` hexadecimal record of 6502 machines, as characters on tape.

Source: the paper tape appendix of the 1976 monitor manual of the processor's maker, from memory
and by a secondary page. The monitor writes 24 bytes in a record at most, and tapes of 32 exist.
Descriptions of the last record differ: its count is of data records or of data bytes, and its
last field is the ordinary sum or the count once more. Both are read, and what was met is said.
"""

import re
from functools import partial
from typing import ClassVar

import numpy as np

from server.tape.codes.iso_646 import Iso646
from server.tape.dump import Integers
from server.tape.errors import CannotBuild
from server.tape.findings import Finding, Severity
from server.tape.formats.base import Decoding, Evidence
from server.tape.formats.hex_decoding import decode
from server.tape.hexadecimal.checked import checked_records
from server.tape.hexadecimal.checksums import WordSum
from server.tape.hexadecimal.memory import stretches
from server.tape.hexadecimal.program import DIVIDES, HexProgram, hex_program
from server.tape.hexadecimal.reading import Placed, Reading, end_record
from server.tape.hexadecimal.recognition import weigh
from server.tape.hexadecimal.records import Grammar, Records
from server.tape.image import Image
from server.tape.material import Kind, Material, Pattern, Writing
from server.tape.self_checking import Checker
from server.tape.view import View

_ADDRESSES = 1 << 16
_BEFORE_DATA = 3
_XOFF = b"\x13"
_START = re.compile(rb";[0-9A-Fa-f]{10}")


class SemicolonHex:
    """`;`, length, address, data, sum of two bytes, in hexadecimal digits."""

    name: ClassVar[str] = "semicolon-hex"
    title: ClassVar[str] = "Semicolon hexadecimal (6502)"
    source: ClassVar[str] = "monitor manual of the processor's maker, 1976, from memory"
    grammar: ClassVar[Grammar] = Grammar(
        mark=b";", head=1, check=WordSum(), beyond=5, least=5, closing=_XOFF
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
        lengths = records.sizes - self.grammar.beyond
        addresses = records.number(1, 2)
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
        counts = _Counts.before(end, lengths)
        return Reading(
            dialect=_dialect(records, end, counts),
            loads=loads,
            end=end,
            entry_address=None,
            findings=[
                *_miscounted(placed, end, counts),
                *(placed.wrap(each) for each in data[lengths[data] > room[data]].tolist()),
            ],
        )

    def build(self, content: HexProgram) -> Image:
        """The tape that carries `content`, and XOFF after the record that counts the others.

        Raises:
            CannotBuild: `content` does not fit records of this format.
        """
        content.check(longest=0xFF)
        if content.highest >= _ADDRESSES:
            raise CannotBuild(
                "the program lies outside the addresses 0 to FFFF",
                mend="give addresses of 16 bits at most",
            )
        if content.entry_address is not None:
            raise CannotBuild(
                "these records have no place for an entry address",
                mend="leave it out; whoever loads the tape types it",
            )
        records = [_record(*chunk) for chunk in content.chunks()]
        records.append(_record(len(records) & 0xFFFF, b""))
        return content.image(records, closing=_XOFF)

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries `material` in records."""
        return self.build(hex_program(material, way))


def _record(address: int, data: bytes) -> bytes:
    body = bytes([len(data)]) + address.to_bytes(2, "big") + data
    digits = (body + sum(body).to_bytes(2, "big")).hex().upper()
    return b";" + digits.encode("ascii")


class _Counts:
    """What a last record may count: the records with data before it, and their bytes."""

    def __init__(self, records: int, size: int) -> None:
        self.records = records
        self.bytes = size

    @classmethod
    def before(cls, end: int | None, lengths: Integers) -> "_Counts":
        return cls(int(np.count_nonzero(lengths[:end])), int(lengths[:end].sum()))

    def meaning(self, count: int) -> str | None:
        """What `count` counts, or None if neither."""
        if count == self.records % _ADDRESSES:
            return "data records"
        return "data bytes" if count == self.bytes % _ADDRESSES else None


def _fields(records: Records, end: int) -> tuple[int, int]:
    """What the last record gives as its count, and what stands in its last field."""
    data = records.data(end)
    return int.from_bytes(data[1:3], "big"), int.from_bytes(data[3:5], "big")


def _dialect(records: Records, end: int | None, counts: _Counts) -> str | None:
    """Which description the last record follows, where that shows."""
    if end is None:
        return None
    count, last = _fields(records, end)
    meaning = counts.meaning(count)
    said = [f"the end record counts {meaning}"] if meaning else []
    ordinary = (count >> 8) + (count & 0xFF)
    # Below 256 both rules give the same.
    if ordinary != count and last in (ordinary, count):
        said.append("ends in its sum" if last == ordinary else "repeats its count")
    return " and ".join(said) or None


def _miscounted(placed: Placed, end: int | None, counts: _Counts) -> list[Finding]:
    if end is None or not placed.records.sound[end]:
        return []
    count, _ = _fields(placed.records, end)
    if counts.meaning(count):
        return []
    return [
        placed.finding(
            end,
            "count-mismatch",
            Severity.DAMAGE,
            f"the end record counts {count}; {counts.records} data records of "
            f"{counts.bytes} bytes in all can be read",
            "look for a record that is missing before this one, and read that stretch again",
        )
    ]
