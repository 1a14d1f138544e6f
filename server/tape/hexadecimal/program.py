"""What the builders of these formats write: memory, an entry address, and how it is punched."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final

from server.tape.codes.base import Parity
from server.tape.codes.iso_646 import Iso646
from server.tape.errors import CannotBuild
from server.tape.image import Image
from server.tape.material import ENDS, Material, Writing

DIVIDES: Final = (
    "each reel is loaded on its own, in any order but that the last, which may start the program, "
    "comes last"
)
"""Every reel has records of its own, and a record that ends it."""


@dataclass(frozen=True, slots=True)
class HexProgram:
    """A program to be written as records.

    `memory` gives bytes by the address of the first of each run; the runs do not overlap.
    `record_length` is the most data bytes in a record. `header` is a title, for the format
    that has a record for it. `line_end` is punched after each record: controls, spaces and
    fill. `parity` is the rule of channel 8; `leader` and `trailer` count blank frames.
    """

    memory: Mapping[int, bytes] = field(default_factory=dict)
    entry_address: int | None = None
    record_length: int = 16
    header: bytes = b""
    parity: Parity = Parity.EVEN
    line_end: bytes = b"\r\n"
    leader: int = 60
    trailer: int = 60

    @property
    def highest(self) -> int:
        """The highest address that is loaded or entered."""
        ends = (start + len(data) - 1 for start, data in self.memory.items() if data)
        return max(*ends, self.entry_address or 0, 0, 0)

    def chunks(self) -> Iterator[tuple[int, bytes]]:
        """The data of each record with its address; none crosses a bound of 64 Ki."""
        for start, data in sorted(self.memory.items()):
            at = 0
            while at < len(data):
                size = min(self.record_length, 0x10000 - (start + at) % 0x10000)
                yield start + at, data[at : at + size]
                at += size

    def check(self, *, longest: int) -> None:
        """Refuse what no record can carry; `longest` is the most data in one.

        Raises:
            CannotBuild: an address, the record length or the line end is out of bounds, or
                two runs of memory overlap.
        """
        if not 1 <= self.record_length <= longest:
            raise CannotBuild(
                f"a record cannot carry {self.record_length} bytes",
                mend=f"give a record length from 1 to {longest}",
            )
        lowest = min(*self.memory, self.entry_address or 0, 0, 0)
        if lowest < 0 or self.highest > 0xFFFFFFFF:
            raise CannotBuild(
                "the program lies outside the addresses 0 to FFFFFFFF",
                mend="give addresses of 32 bits at most",
            )
        for (low, data), (high, _) in pairwise(sorted(self.memory.items())):
            if low + len(data) > high:
                raise CannotBuild(
                    f"two runs of memory both hold address {high:04X}",
                    mend="join the runs into one",
                )
        if any(0x20 < character < 0x7F for character in self.line_end):
            raise CannotBuild(
                "a line end cannot hold printing characters",
                mend="end lines with carriage return, line feed and fill only",
            )

    def image(self, records: Sequence[bytes], closing: bytes = b"") -> Image:
        """The tape that carries `records`, each followed by the line end, and then `closing`."""
        text = b"".join(record + self.line_end for record in records) + closing
        frames = Iso646().write(text, self.parity)
        return Image(bytes(self.leader) + frames + bytes(self.trailer))


def hex_program(material: Material, way: Writing) -> HexProgram:
    """What a builder writes for `material`."""
    program = HexProgram(
        material.memory,
        material.entry_address,
        parity=way.parity,
        leader=ENDS,
        trailer=ENDS,
    )
    length = way.record_length
    return program if length is None else replace(program, record_length=length)
