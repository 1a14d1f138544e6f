"""Hexadecimal tapes for the tests: text to frames, damage, and programs of any kind."""

from hypothesis import strategies as st

from server.tape.codes.base import Parity
from server.tape.codes.iso_646 import Iso646
from server.tape.findings import Finding
from server.tape.formats.base import Decoding
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Image
from server.tape.view import View


def tape(text: bytes, parity: Parity = Parity.EVEN, *, leader: int = 20) -> Image:
    return Image(bytes(leader) + Iso646().write(text, parity) + bytes(leader))


def view(text: bytes, parity: Parity = Parity.EVEN) -> View:
    return View(tape(text, parity))


def flipped(image: Image, frame: int, channels: int) -> Image:
    frames = bytearray(image.frames)
    frames[frame] ^= channels
    return Image(bytes(frames))


def dropped(image: Image, frame: int) -> Image:
    return Image(image.frames[:frame] + image.frames[frame + 1 :])


def of_kind(decoding: Decoding, kind: str) -> list[Finding]:
    return [finding for finding in decoding.findings if finding.kind == kind]


def kinds(decoding: Decoding) -> list[str]:
    return [finding.kind for finding in decoding.findings]


@st.composite
def memories(draw, limit: int = 0x10000) -> dict[int, bytes]:
    """Runs of memory that neither overlap nor touch, below `limit`."""
    runs: dict[int, bytes] = {}
    at = draw(st.integers(0, limit - 1))
    for _ in range(draw(st.integers(1, 4))):
        data = draw(st.binary(min_size=1, max_size=60))[: max(limit - at, 0)]
        if not data:
            break
        runs[at] = data
        at += len(data) + draw(st.integers(1, 70))
    return runs


@st.composite
def programs(draw, limit: int = 0x10000) -> HexProgram:
    return HexProgram(
        memory=draw(memories(limit)),
        entry_address=draw(st.none() | st.integers(1, limit - 1)),
        record_length=draw(st.integers(1, 40)),
        parity=draw(st.sampled_from(Parity)),
        line_end=draw(st.sampled_from([b"\r\n", b"\n", b"", b"\r\n\0\0\x7f"])),
        leader=draw(st.integers(0, 30)),
        trailer=draw(st.integers(0, 30)),
    )
