"""Held tapes to be prepared: one of each format, as decoded, and whatever hypothesis draws."""

from hypothesis import strategies as st

from server.tape.basic.program import program_from_text
from server.tape.blocks.program import BlockProgram
from server.tape.codes.base import Parity
from server.tape.formats import FORMATS
from server.tape.formats.checksum_block import CheckedProgram
from server.tape.formats.nc_program import NcContent
from server.tape.formats.text import TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.identify import Decoded, decode
from server.tape.image import Image, Orientation
from server.tape.twelve_bit.program import WordProgram

MEMORY = {0x0100: bytes(range(3, 120)) + b"\xc9", 0x0400: b"ORRISBY CLUB"}
ENTRY = 0x0100
WORDS = {0o200: bytes.fromhex("0E800283 0F020022 03FF0C00".replace(" ", ""))}
LISTING = ('10 PRINT "TIDE AT QUAY"', "20 FOR I=1 TO 12", "30 PRINT I*2", "40 NEXT I", "50 END")
BLOCKS = ("%", "N10 G00 X0 Y0", "N20 G01 X100 Y200 F50", "N30 X300", "N40 M02")

HEXADECIMAL = ("intel-hex", "s-record", "tek-hex")
BLOCK = ("absolute-block", "checksum-block")
LOADED = (*HEXADECIMAL, *BLOCK)
"""Formats of bytes at addresses that can name an entry address."""


def images() -> dict[str, Image]:
    """A sound tape in each format that has one."""
    hexadecimal = HexProgram(MEMORY, ENTRY)
    return {
        **{name: FORMATS[name].build(hexadecimal) for name in HEXADECIMAL},
        "semicolon-hex": FORMATS["semicolon-hex"].build(HexProgram(MEMORY)),
        "absolute-block": FORMATS["absolute-block"].build(BlockProgram(MEMORY, ENTRY)),
        "checksum-block": FORMATS["checksum-block"].build(CheckedProgram(MEMORY, ENTRY)),
        "rim12": FORMATS["rim12"].build(WordProgram(WORDS)),
        "bin12": FORMATS["bin12"].build(WordProgram(WORDS)),
        "crunched-basic": FORMATS["crunched-basic"].build(
            program_from_text("\n".join(LISTING), "Q")
        ),
        "text": FORMATS["text"].build(TextContent(LISTING)),
        "nc-program": FORMATS["nc-program"].build(NcContent(BLOCKS)),
    }


def held(name: str, orientation: Orientation = Orientation.AS_READ) -> Decoded:
    """The tape of that format as the archive would know it, read in `orientation`."""
    return decode(images()[name].turned(orientation).frames)


def text(*lines: str, code: str = "iso-646", parity: Parity = Parity.EVEN) -> Decoded:
    """A tape of `lines`, decoded."""
    return decode(FORMATS["text"].build(TextContent(lines, parity, code=code)).frames)


LETTERINGS = st.sampled_from(
    ("", "TIDE TABLE", "ORRISBY 1979", "QUAY LIGHTS 12 MAY", "RETURN TO DESK", "BAKER 7/79")
)
"""Texts with letters enough that a reader of letters is sure of them."""
