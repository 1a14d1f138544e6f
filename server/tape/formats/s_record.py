"""Motorola S-records, as characters on tape.

Source: the S-record description in the maker's assembler and monitor manuals, from memory. The
24-bit count S6 is a later addition. An end record whose address is zero gives no entry address
unless the tape loads address zero; readers skip what stands between records (common practice,
no source).
"""

import re
from functools import partial
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from server.tape.codes.iso_646 import Iso646
from server.tape.dump import Integers
from server.tape.errors import CannotBuild
from server.tape.findings import Finding, Severity
from server.tape.formats.base import Decoding, Evidence
from server.tape.formats.hex_decoding import decode
from server.tape.hexadecimal.checked import checked_records
from server.tape.hexadecimal.checksums import ByteSum
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

HEADER, COUNT, LONG_COUNT = 0, 5, 6
DATA: Final = {1: 2, 2: 3, 3: 4}
"""How many bytes the address of each type of data record has."""

END: Final = {9: 2, 8: 3, 7: 4}
"""The same for the records that end a program of S1, S2 and S3 records."""

WIDTHS: Final = {HEADER: 2, COUNT: 2, LONG_COUNT: 3, **DATA, **END}

_START = re.compile(rb"S[0-9][0-9A-Fa-f]{8}")
_WIDTH_OF = np.array([WIDTHS.get(kind, 2) for kind in range(256)])
_MOST_IN_RECORD = 0xFF - 1  # the length also counts the checksum


class SRecord:
    """`S`, type, length, address, data, checksum, in hexadecimal digits."""

    name: ClassVar[str] = "s-record"
    title: ClassVar[str] = "Motorola S-records"
    source: ClassVar[str] = "S-record description in the maker's manuals, from memory"
    grammar: ClassVar[Grammar] = Grammar(
        mark=b"S", head=2, check=ByteSum(0xFF), beyond=1, least=4, wide=WIDTHS
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
        widths = _WIDTH_OF[records.kinds]
        lengths = records.sizes - 2 - widths
        addresses = records.number(1, widths)
        data = np.flatnonzero(np.isin(records.kinds, list(DATA)) & (lengths >= 0))
        room = (1 << 8 * widths) - addresses
        loads = stretches(
            records,
            data,
            skip=1 + widths,
            lengths=lengths,
            addresses=addresses,
            room=room,
            low=0,
            frames=(placed.starts, placed.stops),
        )
        end = end_record(records, np.isin(records.kinds, list(END)) & (lengths >= 0))
        return Reading(
            dialect=_dialect(records.kinds[data]),
            loads=loads,
            end=end,
            entry_address=_entry(addresses, end, loads),
            findings=[
                *_misfits(placed, lengths),
                *_counts(placed, addresses),
                *_headers(placed),
                *(placed.wrap(each) for each in data[lengths[data] > room[data]].tolist()),
            ],
        )

    def build(self, content: HexProgram) -> Image:
        """The tape that carries `content`, with its header if any, and a count.

        Raises:
            CannotBuild: `content` does not fit records of this format.
        """
        width = _width_for(content.highest)
        content.check(longest=_MOST_IN_RECORD - width)
        if len(content.header) > _MOST_IN_RECORD - WIDTHS[HEADER]:
            raise CannotBuild("the header is too long for a record", mend="shorten the header")
        data_type = next(kind for kind, each in DATA.items() if each == width)
        end_type = next(kind for kind, each in END.items() if each == width)
        records = [_record(HEADER, 0, content.header)] if content.header else []
        data = [_record(data_type, *chunk) for chunk in content.chunks()]
        count = COUNT if len(data) <= 0xFFFF else LONG_COUNT
        data.append(_record(count, len(data) & 0xFFFFFF, b""))
        records += [*data, _record(end_type, content.entry_address or 0, b"")]
        return content.image(records)

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries `material` in records."""
        return self.build(hex_program(material, way))


def _width_for(highest: int) -> int:
    return max(2, (highest.bit_length() + 7) // 8)


def _record(kind: int, address: int, data: bytes) -> bytes:
    body = address.to_bytes(WIDTHS[kind], "big") + data
    counted = bytes([len(body) + 1]) + body
    digits = (counted + bytes([~sum(counted) & 0xFF])).hex().upper()
    return f"S{kind}{digits}".encode("ascii")


def _entry(addresses: Integers, end: int | None, loads: Loads) -> int | None:
    if end is None:
        return None
    entry = int(addresses[end])
    loads_zero = bool(np.any((loads.addresses == 0) & (loads.lengths > 0)))
    return entry if entry or loads_zero else None


def _dialect(kinds: NDArray[np.uint8]) -> str:
    width = max((DATA[kind] for kind in np.unique(kinds).tolist()), default=2)
    return f"{8 * width}-bit addresses"


def _counts(placed: Placed, addresses: Integers) -> list[Finding]:
    """Count records that do not count the data records before them."""
    kinds = placed.records.kinds
    before = np.cumsum(np.isin(kinds, list(DATA)))
    is_count = ((kinds == COUNT) | (kinds == LONG_COUNT)) & placed.records.sound
    return [
        placed.finding(
            record,
            "count-mismatch",
            Severity.DAMAGE,
            f"the count is {addresses[record]} data records; {before[record]} can be read",
            "look for a record that is missing before this one, and read that stretch again",
        )
        for record in np.flatnonzero(is_count).tolist()
        if addresses[record] != before[record] & (1 << 8 * WIDTHS[int(kinds[record])]) - 1
    ]


def _headers(placed: Placed) -> list[Finding]:
    """What the header records say."""
    return [
        placed.finding(
            record,
            "header-record",
            Severity.NOTE,
            f"the header reads {text.decode('ascii', 'replace')!r}",
            "nothing: it may give the program's title",
        )
        for record in np.flatnonzero(placed.records.kinds == HEADER).tolist()
        if (text := placed.records.data(record)[1 + WIDTHS[HEADER] : -1].strip(b"\0 "))
    ]


def _misfits(placed: Placed, lengths: Integers) -> list[Finding]:
    """Sound records of a type that is unknown, or too short or long for their type."""
    kinds = placed.records.kinds
    bare = np.isin(kinds, [COUNT, LONG_COUNT, *END])
    odd = (lengths < 0) | (bare & (lengths != 0)) | ~np.isin(kinds, list(WIDTHS))
    return [
        _misfit(placed, record, int(kinds[record]), int(lengths[record]))
        for record in np.flatnonzero(odd & placed.records.sound).tolist()
    ]


def _misfit(placed: Placed, record: int, kind: int, extra: int) -> Finding:
    if kind not in WIDTHS:
        return placed.finding(
            record,
            "unknown-record-type",
            Severity.WARNING,
            f"the record passes its checksum, but there is no type S{kind}",
            "see which machine wrote the tape; the record was skipped",
        )
    size = f"short by {-extra}" if extra < 0 else f"long by {extra}"
    return placed.finding(
        record,
        "length-mismatch",
        Severity.WARNING,
        f"the record is too {size} for its type S{kind}, counted in bytes",
        "see which machine wrote the tape",
    )
