"""Binary checksum-loader blocks of the 8080 family: name, load and go records.

Name: 55, a name, on early tapes a text after it and a carriage return. Load: 3C, count, address
low byte first, data, checksum. Go: 78, address low byte first, without checksum. Blank frames
between records are skipped. The checksum is the 8-bit sum of address and data; some writers
may have left out the address, so both rules are tried. A count of 0 stands for 256 bytes.
From memory; the bytes and the first rule fit a magazine's loader listing of 1981 for a cassette
relative of this format. A long run of one frame that is not blank before the blocks is leader,
and raw frames after it are the loader's own second stage (from memory).
"""

import re
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial
from typing import ClassVar, Final

from server.tape.blocks.certainty import ALL_CLOSE, Weighed, weigh
from server.tape.blocks.checked import checked_blocks
from server.tape.blocks.layout import Layout
from server.tape.blocks.program import DIVIDES, BlockProgram, block_program
from server.tape.blocks.walk import Special
from server.tape.dump import cell_lines
from server.tape.errors import CannotBuild
from server.tape.formats.base import Decoding, Evidence
from server.tape.formats.block_decoding import Manner, decode_blocks
from server.tape.image import Image
from server.tape.load_findings import Terms
from server.tape.material import Kind, Material, Pattern, Writing
from server.tape.self_checking import Checker
from server.tape.view import View

LOAD, GO, NAME = 0x3C, 0x78, 0x55
_LONGEST: Final = 0x100
_HEAD: Final = 4
_GO_FRAMES: Final = 3

_NAME_RECORD = re.compile(
    rb"\x55(?:([\x20-\x7e]{1,120})\r|([\x20-\x7e]{6}|[\x20-\x7e]{3})(?=\0{0,64}\x3c))"
)


class Rule(StrEnum):
    """What the checksum of a load record is the sum of."""

    ADDRESS_AND_DATA = "checksum of address and data"
    DATA_ONLY = "checksum of data alone"
    EITHER = "checksum of data, with or without address: both fit"


def _layout(summed_from: int) -> Layout:
    return Layout(
        mark=bytes([LOAD]),
        head=_HEAD,
        count_at=1,
        count_bytes=1,
        address_at=2,
        beyond=_HEAD + 1,
        least=1,
        summed_from=summed_from,
        closing=-1,
        zero=_LONGEST,
    )


LAYOUTS: Final = {Rule.ADDRESS_AND_DATA: _layout(2), Rule.DATA_ONLY: _layout(_HEAD)}


def special_of(frames: bytes, at: int) -> Special | None:
    """The go or name record that stands at `at`."""
    if frames[at : at + 1] == bytes([GO]) and at + _GO_FRAMES <= len(frames):
        address = int.from_bytes(frames[at + 1 : at + _GO_FRAMES], "little")
        return Special(at, at + _GO_FRAMES, ends=True, address=address)
    found = _NAME_RECORD.match(frames, at)
    if not found:
        return None
    text = (found[1] or found[2]).decode("ascii")
    return Special(at, found.end(), ends=False, text=text)


@dataclass(frozen=True, slots=True)
class CheckedProgram(BlockProgram):
    """A program in load records, with a name record where it has a name."""

    label: str = ""
    rule: Rule = Rule.ADDRESS_AND_DATA


class ChecksumBlock:
    """Records of 3C, count, address, data and checksum."""

    name: ClassVar[str] = "checksum-block"
    title: ClassVar[str] = "Checksum-loader blocks, 8080 family"
    source: ClassVar[str] = "from memory; fits a magazine's loader listing of 1981"
    takes: ClassVar[tuple[Kind, ...]] = (Kind.MEMORY,)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.MEMORY,)
    codes: ClassVar[tuple[str, ...]] = ()
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.BLANK,)
    wakes: ClassVar[bytes | None] = bytes([LOAD, GO, NAME])
    divides: ClassVar[str] = DIVIDES

    def recognise(self, view: View) -> Evidence | None:
        """How unlikely it is that chance put marks, counts and checksums where they stand."""
        if view.image.levels != 8:
            return None
        best = _weigh(view)[1]
        return Evidence(best.confidence, best.reason) if best.confidence else None

    def parse(self, view: View) -> Decoding:
        """The memory that the load records fill, by the checksum rule that fits better."""
        rule = _weigh(view)[0]
        decoding = decode_blocks(
            view,
            Manner(
                name=self.name,
                layout=LAYOUTS[rule],
                special=special_of,
                terms=Terms(unit="block"),
                lines=cell_lines,
                end_name="go record",
                dialect=rule,
            ),
        )
        both = decoding.blocks and not any(_weight(each.start) for each in decoding.blocks)
        return replace(decoding, dialect=Rule.EITHER) if both else decoding

    def checker(self, view: View) -> Checker:
        """What tells the load records that close, by the rule that fits the whole tape better."""
        return partial(checked_blocks, layout=LAYOUTS[_weigh(view)[0]], special=special_of)

    def build(self, content: CheckedProgram) -> Image:
        """The tape that carries `content`; a go record ends it where it has an entry address.

        Raises:
            CannotBuild: `content` does not fit records of this format.
        """
        content.check(longest=_LONGEST)
        if content.rule not in LAYOUTS:
            raise CannotBuild("a record is written by one rule", mend="choose one of the two")
        records = [_load_record(*chunk, content.rule) for chunk in content.chunks()]
        if content.label:
            records.insert(0, _name_record(content.label))
        if content.entry_address is not None:
            records.append(bytes([GO]) + content.entry_address.to_bytes(2, "little"))
        return Image(content.tape(records))

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries `material` in load records, by the rule that `way` names."""
        program = block_program(CheckedProgram, material, way)
        known = [rule for rule in LAYOUTS if rule == way.dialect]
        return self.build(replace(program, rule=known[0]) if known else program)


def _weigh(view: View) -> tuple[Rule, Weighed]:
    """The rule that fits better, and how well; the second is tried where the first has doubts."""
    best: tuple[Rule, Weighed] | None = None
    for rule, layout in LAYOUTS.items():
        weighed = weigh(view.array, view.data, layout, special_of)
        if best is None or weighed.bits > best[1].bits:
            best = rule, weighed
        if weighed.confidence >= ALL_CLOSE:
            break
    assert best is not None
    return best


def _weight(address: int) -> int:
    """What the two bytes of `address` add to a checksum."""
    return ((address >> 8) + address) & 0xFF


def _load_record(address: int, data: bytes, rule: Rule) -> bytes:
    head = bytes([LOAD, len(data) & 0xFF]) + address.to_bytes(2, "little")
    summed = (head + data)[LAYOUTS[rule].summed_from :]
    return head + data + bytes([sum(summed) & 0xFF])


def _name_record(label: str) -> bytes:
    record = bytes([NAME]) + label.encode("ascii", "replace") + b"\r"
    if not _NAME_RECORD.fullmatch(record):
        raise CannotBuild(
            f"the name {label!r} does not fit a name record",
            mend="give 1 to 120 printing characters of ISO 646",
        )
    return record
