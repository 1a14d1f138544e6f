"""What a format is, and what it makes of an image."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import ClassVar, NamedTuple, Protocol, TypeVar

from server.tape.codes.base import Parity
from server.tape.findings import CheckStatus, Finding
from server.tape.image import Image, Span
from server.tape.listing import Listing
from server.tape.loading import LoadedBlock
from server.tape.material import Kind, Material, Pattern, Writing
from server.tape.view import View


class Loader(StrEnum):
    """What must be in the machine before a tape can be read."""

    NONE = "none"
    KEYED_BOOTSTRAP = "keyed-in bootstrap"
    ROM_MONITOR = "ROM monitor"
    CHECKSUM_LOADER = "checksum loader"
    LANGUAGE_INTERPRETER = "language interpreter"
    UNKNOWN = "unknown"


class LoadRange(NamedTuple):
    """Addresses that a tape loads, the first and the last both included."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Evidence:
    """How sure a format is that an image is its own (0 to 1), and why, in words."""

    confidence: float
    reason: str


@dataclass(frozen=True, slots=True)
class Decoding:
    """What a format makes of an image, in the frames of the view that it was given.

    `data` spans the frames that carry the content, without leader and trailer; `content` is
    the same for two tapes that differ only in leader, parity, fill or orientation; `memory`
    gives the bytes loaded, by the address of the first of each run. An address names a cell of
    `cell_bytes` bytes: a word of more than one is held high byte first. `blocks` says what
    loaded which addresses, in the order of the tape. `facts` are names and values, both to be
    shown, that belong to one format: the tools of an NC program, the highest feed.
    """

    format: str
    data: Span
    listing: Listing
    check_status: CheckStatus
    content: bytes
    findings: tuple[Finding, ...] = ()
    code: str | None = None
    parity: Parity | None = None
    dialect: str | None = None
    language: str | None = None
    loader: Loader = Loader.UNKNOWN
    load_ranges: tuple[LoadRange, ...] = ()
    entry_address: int | None = None
    memory: Mapping[int, bytes] = field(default_factory=dict)
    cell_bytes: int = 1
    blocks: tuple[LoadedBlock, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()

    @property
    def memory_by_byte(self) -> Mapping[int, bytes]:
        """`memory` with each address counted in bytes, whatever the size of a cell."""
        if self.cell_bytes == 1:
            return self.memory
        return {start * self.cell_bytes: run for start, run in self.memory.items()}


Content_contra = TypeVar("Content_contra", contravariant=True)


class Format(Protocol[Content_contra]):
    """A record format; one file in this folder, registered in `server.tape.formats`."""

    name: ClassVar[str]
    title: ClassVar[str]
    source: ClassVar[str]
    takes: ClassVar[tuple[Kind, ...]]
    """What `write` can carry, the kind that suits it best first; nothing where it writes none."""
    offers: ClassVar[tuple[Kind, ...]]
    """What its decodings hold."""
    codes: ClassVar[tuple[str, ...]]
    """The character codes that it can be punched in, the usual one first; none for bytes."""
    idle: ClassVar[tuple[Pattern, ...]]
    """What its loaders pass over before and after the content, the usual one first."""
    wakes: ClassVar[bytes | None]
    """The frames, without parity, that a loader begins to load at; None where any may be."""
    divides: ClassVar[str]
    """How each of several reels is loaded; "" where a program must be on one."""

    def recognise(self, view: View) -> Evidence | None:
        """Whether `view` looks like this format: cheap, and never raises."""
        ...

    def parse(self, view: View) -> Decoding:
        """All that this format can make of `view`; damage gives findings, never an error."""
        ...

    def build(self, content: Content_contra) -> Image:
        """The tape that carries `content`.

        Raises:
            CannotBuild: the format cannot carry it.
        """
        ...

    def write(self, material: Material, way: Writing) -> Image:
        """The tape, with `ENDS` frames at either end, that carries `material`.

        Its kind is one of those that the format takes.

        Raises:
            CannotBuild: the format cannot carry it.
        """
        ...
