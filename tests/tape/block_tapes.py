"""Tapes of loader blocks for the tests: programs of any kind, and damage."""

from hypothesis import strategies as st

from server.tape.blocks.program import BlockProgram
from server.tape.findings import Finding
from server.tape.formats.base import Decoding
from server.tape.formats.checksum_block import LAYOUTS, CheckedProgram
from server.tape.image import Image
from server.tape.twelve_bit.program import WordProgram
from tests.tape.hex_tapes import memories

_PRINTING = st.characters(min_codepoint=0x21, max_codepoint=0x7E)


def flipped(image: Image, *changes: tuple[int, int]) -> Image:
    """`image` with other channels punched: (frame, channels) for each change."""
    frames = bytearray(image.frames)
    for frame, channels in changes:
        frames[frame] ^= channels
    return Image(bytes(frames))


def dropped(image: Image, frame: int, count: int = 1) -> Image:
    return Image(image.frames[:frame] + image.frames[frame + count :])


def doubled(image: Image, frame: int) -> Image:
    return Image(image.frames[: frame + 1] + image.frames[frame:])


def kinds(decoding: Decoding) -> list[str]:
    return [finding.kind for finding in decoding.findings]


def of_kind(decoding: Decoding, kind: str) -> list[Finding]:
    return [finding for finding in decoding.findings if finding.kind == kind]


def octal(text: str) -> bytes:
    """The frames that `text` spells, in octal."""
    return bytes(int(frame, 8) for frame in text.split())


def _shape(draw) -> dict[str, int]:
    return {
        "gap": draw(st.integers(0, 5)),
        "leader": draw(st.integers(0, 30)),
        "trailer": draw(st.integers(0, 30)),
    }


@st.composite
def absolute_programs(draw) -> BlockProgram:
    return BlockProgram(
        memory=draw(memories()),
        entry_address=draw(st.none() | st.integers(0, 0x7FFF).map(lambda half: 2 * half)),
        block_length=draw(st.integers(1, 600)),
        **_shape(draw),
    )


@st.composite
def checked_programs(draw) -> CheckedProgram:
    return CheckedProgram(
        memory=draw(memories()),
        entry_address=draw(st.integers(0, 0xFFFF)),
        block_length=draw(st.integers(1, 256)),
        label=draw(st.text(_PRINTING, max_size=6)),
        rule=draw(st.sampled_from(list(LAYOUTS))),
        **_shape(draw),
    )


@st.composite
def word_programs(draw, fields: int = 8, comment: bool = True, lowest: int = 0) -> WordProgram:
    memory: dict[int, bytes] = {}
    at = draw(st.integers(lowest, fields * 0o10000 - 1))
    for _ in range(draw(st.integers(1, 4))):
        words = draw(st.lists(st.integers(0, 0o7777), min_size=1, max_size=40))
        words = words[: max(0, fields * 0o10000 - at)]
        if not words:
            break
        memory[at] = b"".join(word.to_bytes(2, "big") for word in words)
        at += len(words) + draw(st.integers(1, 200))
    return WordProgram(
        memory=memory,
        comment=draw(st.text(_PRINTING, max_size=8)) if comment else "",
        leader=draw(st.integers(2, 40)),
        trailer=draw(st.integers(2, 40)),
    )
