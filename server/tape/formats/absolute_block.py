"""Absolute binary of the 16-bit minicomputer: blocks that say where they load.

01, 00, count, address, data, checksum; count and address low byte first. The count is that of
all frames but the checksum; all frames of a block sum to 0 modulo 256. Blank frames between
blocks are skipped. A block without data ends the program: an even address is where it starts,
an odd one means that it does not start by itself.
Source: the maker's Paper Tape Software Programming Handbook, editions of 1971 and 1976, after
two secondary descriptions.
"""

from dataclasses import replace
from functools import partial
from typing import ClassVar, Final

from server.tape.blocks.certainty import weigh
from server.tape.blocks.checked import checked_blocks
from server.tape.blocks.layout import Layout
from server.tape.blocks.program import DIVIDES, BlockProgram, block_program
from server.tape.blocks.walk import Special
from server.tape.cpu.notation import Notation
from server.tape.errors import CannotBuild
from server.tape.formats.base import Decoding, Evidence
from server.tape.formats.block_decoding import Manner, decode_blocks
from server.tape.image import Image
from server.tape.load_findings import Terms
from server.tape.material import Kind, Material, Pattern, Writing
from server.tape.octal_dump import byte_pair_lines
from server.tape.self_checking import Checker
from server.tape.view import View

_HEAD: Final = 6
_LONGEST: Final = 0xFFFF - _HEAD
_NO_START: Final = 1

LAYOUT: Final = Layout(
    mark=b"\x01\x00",
    head=_HEAD,
    count_at=2,
    count_bytes=2,
    address_at=4,
    beyond=1,
    least=_HEAD,
    summed_from=0,
    closing=1,
    ends=_HEAD,
)


def _no_special(_frames: bytes, _at: int) -> Special | None:
    return None


_MANNER: Final = Manner(
    name="absolute-block",
    layout=LAYOUT,
    special=_no_special,
    terms=Terms(unit="block", notation=Notation.OCTAL),
    lines=byte_pair_lines,
    end_name="end block",
)


class AbsoluteBlock:
    """Blocks of 01 00, count, address, data and checksum."""

    name: ClassVar[str] = _MANNER.name
    title: ClassVar[str] = "Absolute binary blocks, 16-bit minicomputer"
    source: ClassVar[str] = (
        "Paper Tape Software Programming Handbook of the maker, 1971 and 1976 (from two "
        "secondary descriptions)"
    )
    takes: ClassVar[tuple[Kind, ...]] = (Kind.MEMORY,)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.MEMORY,)
    codes: ClassVar[tuple[str, ...]] = ()
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.BLANK,)
    wakes: ClassVar[bytes | None] = LAYOUT.mark[:1]
    divides: ClassVar[str] = DIVIDES

    def recognise(self, view: View) -> Evidence | None:
        """How unlikely it is that chance put marks, counts and checksums where they stand."""
        if view.image.levels != 8:
            return None
        weighed = weigh(view.array, view.data, LAYOUT, _no_special)
        return Evidence(weighed.confidence, weighed.reason) if weighed.confidence else None

    def parse(self, view: View) -> Decoding:
        """The memory that the blocks load, in octal; an odd end address gives no entry."""
        decoding = decode_blocks(view, _MANNER)
        entry = decoding.entry_address
        return replace(decoding, entry_address=None) if entry and entry % 2 else decoding

    def checker(self, view: View) -> Checker:
        """What tells the blocks that close."""
        return partial(checked_blocks, layout=LAYOUT, special=_no_special)

    def build(self, content: BlockProgram) -> Image:
        """The tape that carries `content`.

        Raises:
            CannotBuild: `content` does not fit blocks of this format.
        """
        content.check(longest=_LONGEST)
        entry = content.entry_address
        if entry is not None and entry % 2:
            raise CannotBuild(
                f"the machine cannot start at the odd address {entry:06o}",
                mend="give an even entry address, or none",
            )
        end = _NO_START if entry is None else entry
        blocks = [*(_block(*chunk) for chunk in content.chunks()), _block(end, b"")]
        return Image(content.tape(blocks))

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries `material` in blocks."""
        return self.build(block_program(BlockProgram, material, way))


def _block(address: int, data: bytes) -> bytes:
    head = LAYOUT.mark + (_HEAD + len(data)).to_bytes(2, "little") + address.to_bytes(2, "little")
    return head + data + bytes([-sum(head + data) & 0xFF])
