"""Intel hexadecimal object format, as characters on tape.

Source: Intel, Hexadecimal Object File Format Specification, Revision A, 6 January 1988. From
memory, not from it: early 8-bit tapes may put the start address in the end record, or end with
a data record of no bytes; readers skip what stands between records (common practice).
"""

import re
from functools import partial
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from server.tape.codes.iso_646 import Iso646
from server.tape.dump import Integers
from server.tape.findings import Finding, Severity
from server.tape.formats.base import Decoding, Evidence
from server.tape.formats.hex_decoding import decode
from server.tape.hexadecimal.checked import checked_records
from server.tape.hexadecimal.checksums import ByteSum
from server.tape.hexadecimal.memory import stretches
from server.tape.hexadecimal.program import DIVIDES, HexProgram, hex_program
from server.tape.hexadecimal.reading import Placed, Reading
from server.tape.hexadecimal.recognition import weigh
from server.tape.hexadecimal.records import Grammar, Records
from server.tape.image import Image
from server.tape.material import Kind, Material, Pattern, Writing
from server.tape.self_checking import Checker
from server.tape.view import View

DATA, END, SEGMENT, START_SEGMENT, LINEAR, START_LINEAR = range(6)
LENGTHS: Final = {END: 0, SEGMENT: 2, START_SEGMENT: 4, LINEAR: 2, START_LINEAR: 4}
"""How many data bytes each type of record has, where the standard fixes it."""

_BEFORE_DATA = 4
_START = re.compile(rb":[0-9A-Fa-f]{10}")


class IntelHex:
    """`:` length, address, type, data, checksum, in hexadecimal digits."""

    name: ClassVar[str] = "intel-hex"
    title: ClassVar[str] = "Intel hexadecimal"
    source: ClassVar[str] = "Intel, Hexadecimal Object File Format Specification, Rev. A, 1988"
    grammar: ClassVar[Grammar] = Grammar(mark=b":", head=1, check=ByteSum(0x00), beyond=5, least=5)
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
        types, lengths = records.byte(3), records.sizes - self.grammar.beyond
        offsets, bases, linear = _addresses(records, types, lengths)
        data = np.flatnonzero(types == DATA)
        room = np.where(linear, (1 << 32) - bases - offsets, (1 << 16) - offsets)
        loads = stretches(
            records,
            data,
            skip=_BEFORE_DATA,
            lengths=lengths,
            addresses=bases + offsets,
            room=room,
            low=np.where(linear, 0, bases),
            frames=(placed.starts, placed.stops),
        )
        end = _end(records, types, lengths)
        return Reading(
            dialect=_dialect(types),
            loads=loads,
            end=end,
            entry_address=_entry(records, types, lengths, end),
            findings=[
                *_misfits(placed, types, lengths),
                *(placed.wrap(each) for each in data[lengths[data] > room[data]].tolist()),
            ],
        )

    def build(self, content: HexProgram) -> Image:
        """The tape that carries `content`; an entry address of 16 bits goes in the end record.

        Raises:
            CannotBuild: `content` does not fit records of this format.
        """
        content.check(longest=0xFF)
        wide = content.highest > 0xFFFF
        entry = content.entry_address
        records, upper = [], 0
        for address, data in content.chunks():
            if address >> 16 != upper:
                upper = address >> 16
                records.append(_record(LINEAR, 0, upper.to_bytes(2, "big")))
            records.append(_record(DATA, address & 0xFFFF, data))
        in_end = entry or 0
        if entry is not None and (wide or not entry):
            records.append(_record(START_LINEAR, 0, entry.to_bytes(4, "big")))
            in_end = 0
        records.append(_record(END, in_end, b""))
        return content.image(records)

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries `material` in records."""
        return self.build(hex_program(material, way))


def _record(kind: int, address: int, data: bytes) -> bytes:
    body = bytes([len(data), address >> 8, address & 0xFF, kind]) + data
    return b":" + (body + bytes([-sum(body) & 0xFF])).hex().upper().encode("ascii")


def _addresses(
    records: Records, types: NDArray[np.uint8], lengths: Integers
) -> tuple[Integers, Integers, NDArray[np.bool_]]:
    """The offset of each record, the base it counts from, and whether that base is linear."""
    extends = ((types == SEGMENT) | (types == LINEAR)) & (lengths == LENGTHS[LINEAR])
    if not extends.any():
        none = np.zeros(len(records), np.int64)
        return records.number(1, 2), none, none.astype(np.bool_)
    latest = np.maximum.accumulate(np.where(extends, np.arange(len(records)), -1))
    shifts = np.where(types == LINEAR, 16, 4)
    own = np.where(extends, records.number(_BEFORE_DATA, 2) << shifts, 0)
    bases = np.where(latest >= 0, own[latest], 0)
    return records.number(1, 2), bases, (latest >= 0) & (types[latest] == LINEAR)


def _end(records: Records, types: NDArray[np.uint8], lengths: Integers) -> int | None:
    """The record that ends the program, if there is one."""
    for sure in (
        (types == END) & records.sound,
        (types == DATA) & (lengths == 0) & records.sound,
        # One that fails may be a data record with a hole too many, unless it is the last.
        (types == END) & (np.arange(len(records)) == len(records) - 1),
    ):
        ends = np.flatnonzero(sure)
        if ends.size:
            return int(ends[0])
    return None


def _entry(
    records: Records, types: NDArray[np.uint8], lengths: Integers, end: int | None
) -> int | None:
    """Where the program starts: from a start record, else from the end record if not zero."""
    starts = np.flatnonzero(
        ((types == START_SEGMENT) | (types == START_LINEAR)) & (lengths == LENGTHS[START_LINEAR])
    )
    if starts.size:
        last = int(starts[-1])
        value = int.from_bytes(records.data(last)[_BEFORE_DATA:-1], "big")
        paragraph, offset = divmod(value, 1 << 16)
        return (paragraph << 4) + offset if types[last] == START_SEGMENT else value
    if end is None:
        return None
    return int.from_bytes(records.data(end)[1:3], "big") or None


def _dialect(types: NDArray[np.uint8]) -> str:
    seen = set(np.unique(types).tolist())
    if seen & {LINEAR, START_LINEAR}:
        return "32-bit addresses"
    return "20-bit segmented addresses" if seen & {SEGMENT, START_SEGMENT} else "16-bit addresses"


def _misfits(placed: Placed, types: NDArray[np.uint8], lengths: Integers) -> list[Finding]:
    """Sound records of a type that is unknown, or of a length that their type cannot have."""
    due = np.full(256, -1)
    due[list(LENGTHS)] = list(LENGTHS.values())
    due[DATA] = -2
    expected = due[types]
    odd = (expected != -2) & (expected != lengths) & placed.records.sound
    return [
        _misfit(placed, record, int(types[record]), int(lengths[record]))
        for record in np.flatnonzero(odd).tolist()
    ]


def _misfit(placed: Placed, record: int, kind: int, length: int) -> Finding:
    if kind not in LENGTHS:
        return placed.finding(
            record,
            "unknown-record-type",
            Severity.WARNING,
            f"the record passes its checksum, but there is no type {kind:02X}",
            "see which machine wrote the tape; the record was skipped",
        )
    return placed.finding(
        record,
        "length-mismatch",
        Severity.WARNING,
        f"a record of type {kind:02X} has {LENGTHS[kind]} data bytes; this one has {length}",
        "see which machine wrote the tape; no address was taken from the record",
    )
