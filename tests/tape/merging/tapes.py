"""Tapes of about so many frames in each format, of invented content, to be read badly."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from server.tape.blocks.program import BlockProgram
from server.tape.formats.absolute_block import AbsoluteBlock
from server.tape.formats.bin12 import Bin12
from server.tape.formats.checksum_block import CheckedProgram, ChecksumBlock
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.s_record import SRecord
from server.tape.formats.semicolon_hex import SemicolonHex
from server.tape.formats.tek_hex import TekHex
from server.tape.formats.text import Text, TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Image
from server.tape.twelve_bit.program import WordProgram
from tests.bench.club_listings import Club

_MOST = 0xF000


def code(size: int, seed: int = 1) -> bytes:
    """Bytes as uneven as those of programs are: small ones are common, and some stand in rows."""
    rng = np.random.default_rng(seed)
    shares = np.r_[np.full(32, 6.0), np.full(224, 1.0)]
    data = rng.choice(256, size, p=shares / shares.sum()).astype(np.uint8)
    return np.repeat(data, rng.choice([1, 1, 1, 1, 1, 1, 1, 4], size))[:size].tobytes()


def text(frames: int) -> Image:
    """A listing in even parity."""
    club = Club(1979)
    lines: list[str] = []
    size = 120
    while size < frames:
        for line in club.listing().splitlines():
            lines.append(f"{10 * len(lines) + 10} {line.partition(' ')[2]}")
            size += len(lines[-1]) + 2
            if size >= frames:
                break
    return Text().build(TextContent(tuple(lines)))


def _memory(frames: int, a_byte: float) -> dict[int, bytes]:
    return {0x0200: code(min(int(frames / a_byte), _MOST))}


def _bin12(frames: int) -> Image:
    words = np.random.default_rng(4).integers(0, 0o10000, min(frames // 2, 0o7400))
    return Bin12().build(WordProgram({0o200: words.astype(">u2").tobytes()}))


CHECKSUMMED: Mapping[str, Callable[[int], Image]] = MappingProxyType(
    {
        "intel-hex": lambda frames: IntelHex().build(HexProgram(_memory(frames, 2.85))),
        "s-record": lambda frames: SRecord().build(HexProgram(_memory(frames, 2.85))),
        "semicolon-hex": lambda frames: SemicolonHex().build(HexProgram(_memory(frames, 2.85))),
        "tek-hex": lambda frames: TekHex().build(HexProgram(_memory(frames, 2.85))),
        "absolute-block": lambda frames: AbsoluteBlock().build(BlockProgram(_memory(frames, 1.06))),
        "checksum-block": lambda frames: ChecksumBlock().build(
            CheckedProgram(_memory(frames, 1.04))
        ),
        "bin12": _bin12,
    }
)
"""By the name of the format, what punches a tape of about so many frames."""

ALL: Mapping[str, Callable[[int], Image]] = MappingProxyType({"text": text, **CHECKSUMMED})
