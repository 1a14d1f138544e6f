"""Machine code of an 8-bit processor, punched as it lies in memory, without a loader's format.

Nothing on such a tape says what it is: it is claimed only where its first frames follow one
another as the instructions of a processor do, and jump to one another. Where it was loaded, the
operator keyed in (common practice, no source); the dump counts from 0.
"""

from dataclasses import dataclass
from typing import ClassVar, Final, NamedTuple

import numpy as np

from server.tape.cpu import PROCESSORS
from server.tape.cpu.base import Memory
from server.tape.cpu.descent import Paths, descend
from server.tape.cpu.guess import guess_processor
from server.tape.cpu.placing import place_code
from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus, Finding, Severity, place
from server.tape.formats.base import Decoding, Evidence, Loader
from server.tape.image import Frames, Image, Span
from server.tape.material import ENDS, Kind, Material, Pattern, Writing
from server.tape.unlisted import bare_dump
from server.tape.view import View

LOOKED_AT: Final = 8192
"""Frames of which the code is followed: a guess takes a hundredth of a second a thousand."""

DIVIDES: Final = (
    "no reel but the first says by itself what it is: each must be loaded at the address after "
    "the last of the reel before it"
)

_SHORTEST: Final = 48
_MOST_PRINTING: Final = 0.85
_LEAST_UNEVEN: Final = 1.6
_LEAST_HABIT: Final = 0.25
_LEAST_LIKELY: Final = 0.99
_LEAST_INSTRUCTIONS: Final = 16
_LEAST_KINDS: Final = 10
_LEAST_TARGETS, _MANY_TARGETS = 4, 8
_MOST_ASTRAY: Final = 0.15
_SURE, _FAIR = 0.8, 0.6

_PRINTING = np.isin(np.arange(256) & 0x7F, [0x0A, 0x0D, *range(0x20, 0x7F)])
_ABSOLUTE_SIZE: Final = 3


@dataclass(frozen=True, slots=True)
class RawCode:
    """Frames of machine code between blank leader and trailer."""

    data: bytes
    leader: int = 60
    trailer: int = 60


class _Code(NamedTuple):
    """What following the frames as instructions of `processor` from `base` on shows."""

    processor: str
    base: int
    instructions: int
    targets: int
    confidence: float


class RawBinary:
    """Machine code without a format."""

    name: ClassVar[str] = "raw-binary"
    title: ClassVar[str] = "Machine code without a loader format"
    source: ClassVar[str] = "common practice, no source"
    takes: ClassVar[tuple[Kind, ...]] = (Kind.FRAMES, Kind.MEMORY)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.FRAMES,)
    codes: ClassVar[tuple[str, ...]] = ()
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.BLANK,)
    wakes: ClassVar[bytes | None] = None
    divides: ClassVar[str] = DIVIDES

    def recognise(self, view: View) -> Evidence | None:
        """Whether the frames hang together as instructions; asked only where they may."""
        if view.image.levels != 8 or view.data.frames < _SHORTEST:
            return None
        code = _follow(view.array[slice(*view.data)])
        if code is None:
            return None
        return Evidence(
            code.confidence,
            f"{code.instructions} instructions of the {code.processor} follow from the first "
            f"frame, and {code.targets} jumps and calls lead to others of them, as if loaded at "
            f"{code.base:04X}",
        )

    def parse(self, view: View) -> Decoding:
        """The frames between leader and trailer, as a dump that counts from the first."""
        data = view.image.frames[slice(*view.data)]
        code = _follow(view.array[slice(*view.data)]) if data else None
        listing, unlisted = bare_dump(data, view.data)
        return Decoding(
            format=self.name,
            data=view.data,
            listing=listing,
            check_status=CheckStatus.NO_CHECK,
            content=data,
            findings=(_note(code, view.data), *unlisted) if code else unlisted,
            language="machine code",
            loader=Loader.KEYED_BOOTSTRAP,
        )

    def build(self, content: RawCode) -> Image:
        """The tape that carries `content`.

        Raises:
            CannotBuild: its ends would be taken for leader and trailer.
        """
        image = Image(bytes(content.leader) + content.data + bytes(content.trailer) or b"\0")
        if image.data_span() != (content.leader, content.leader + len(content.data)):
            raise CannotBuild(
                "the first or the last bytes cannot be told from leader",
                mend="give code that neither begins nor ends with 00, FF or a long run",
            )
        return image

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries the only run of `material`, without its address."""
        return self.build(RawCode(material.only_run, leader=ENDS, trailer=ENDS))


def _note(code: _Code, data: Span) -> Finding:
    return Finding(
        kind="address-unknown",
        severity=Severity.NOTE,
        frame=data.start,
        frames=data.frames,
        message=(
            f"{place(data.start)}: the frames are code of the {code.processor}; the tape does not "
            f"say where it is loaded, and its jumps fit {code.base:04X}"
        ),
        advice="see the papers of the machine for the address; the dump counts from 0",
    )


def _follow(tape: Frames) -> _Code | None:
    """What the frames of a tape are as code, or None where that is not sure."""
    frames = tape[:LOOKED_AT]
    if not _may_be_code(frames):
        return None
    placed = place_code(frames)
    if placed.habit < _LEAST_HABIT:
        return None
    runs = {placed.base: frames.tobytes()}
    guess = guess_processor(runs, [placed.base])
    if guess is None or guess.likelihood < _LEAST_LIKELY:
        return None
    memory = Memory(runs)
    paths = descend(memory, PROCESSORS[guess.processor], [placed.base])
    targets, elsewhere = _targets(paths, range(placed.base, placed.base + tape.size))
    confidence = _confidence(paths, targets, elsewhere)
    if not confidence:
        return None
    return _Code(guess.processor, placed.base, len(paths.instructions), targets, confidence)


def _may_be_code(frames: Frames) -> bool:
    """Whether cheap signs leave it open: neither text, nor noise."""
    if float(_PRINTING[frames].mean()) > _MOST_PRINTING:
        return False
    counts = np.bincount(frames, minlength=256)
    pairs = int((counts * (counts - 1)).sum())
    return pairs * 256 >= _LEAST_UNEVEN * frames.size * (frames.size - 1)


def _targets(paths: Paths, loaded: range) -> tuple[int, int]:
    """Addresses that absolute jumps and calls lead to: instructions met, and not `loaded`."""
    named = {
        each.target
        for each in paths.instructions.values()
        if each.target is not None and each.size >= _ABSOLUTE_SIZE
    }
    met = sum(target in paths.instructions for target in named)
    return met, sum(target not in loaded for target in named)


def _confidence(paths: Paths, targets: int, elsewhere: int) -> float:
    astray = len(paths.undefined) + len(paths.torn)
    if (
        len(paths.instructions) < _LEAST_INSTRUCTIONS
        or len({each.text for each in paths.instructions.values()}) < _LEAST_KINDS
        or targets < _LEAST_TARGETS
        or astray > _MOST_ASTRAY * (targets + astray)
        or elsewhere > targets
    ):
        return 0.0
    return _SURE if targets >= _MANY_TARGETS and not astray else _FAIR
