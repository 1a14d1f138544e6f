"""What the catalog says of an image: plain values for pages, JSON and the command line."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from server.catalog.fixity import FixityFailure
from server.tape.cpu.guess import Guess
from server.tape.findings import CheckStatus, Finding
from server.tape.formats.base import LoadRange
from server.tape.identify import Identified
from server.tape.image import FRAME_PITCH_MM, Orientation, Span
from server.tape.kinship import Row
from server.tape.listing import Line
from server.tape.loading import LoadedBlock
from server.tape.machine_notation import Writing, writing_of
from server.tape.parts import PartSummary
from server.tape.program_view import BARE


class VerifiedBy(StrEnum):
    """Why we trust an image, from weakest to strongest."""

    UNVERIFIED = "unverified"
    SELF_CHECKED = "self-checked"
    READINGS_AGREE = "readings agree"
    PROOF_READ = "proof-read"
    READ_BACK = "read back"


@dataclass(frozen=True, slots=True)
class EvidenceRecord:
    """One reason to trust an image."""

    kind: VerifiedBy
    by: str
    at: datetime
    note: str


@dataclass(frozen=True, slots=True)
class Verification:
    """The judgement on an image: the strongest evidence in words, and all of it."""

    word: VerifiedBy
    sentence: str
    evidence: tuple[EvidenceRecord, ...] = ()

    @property
    def verified(self) -> bool:
        """Whether anything at all vouches for the image."""
        return self.word is not VerifiedBy.UNVERIFIED


@dataclass(frozen=True, slots=True)
class ReadingRecord:
    """One pass of one tape through a reader, which gave the image `sha256`.

    One with `merged` was no pass: the merged reading of that id was taken in as it.
    """

    id: int
    sha256: str
    file_name: str
    tape: str | None
    read_on: date | None
    reader: str
    by: str
    received: datetime
    merged: int | None = None


@dataclass(frozen=True, slots=True)
class TapeLink:
    """A tape, for a link to it."""

    accession_number: str
    title: str
    do_not_run: bool = False


@dataclass(frozen=True, slots=True)
class VersionLink:
    """A version of a program, for a link to it."""

    program: int
    title: str
    label: str
    id: int


@dataclass(frozen=True, slots=True)
class KinRecord:
    """Another image, and how the one asked about relates to it.

    `added` counts what only the one asked about has, `removed` what only the other has: a
    program saved again after a line was added resembles the older one, with one line added. `unit`
    says what is counted; `moved_by` how many addresses higher the one asked about stands.
    """

    sha256: str
    title: str
    accession: str | None
    do_not_run: bool
    kinship: str
    similarity: float
    distance: int
    added: int
    removed: int
    changed: int
    unit: str
    renumbered: bool
    moved_by: int
    description: str


@dataclass(frozen=True, slots=True)
class ImageRecord:
    """An image, its newest decoding, and what is known about it.

    `bytes` is its size in frames; `data` spans the frames of the content; `title` is the best
    name there is: of its tape, its program, or its file.
    """

    sha256: str
    bytes: int
    levels: int
    orientation: Orientation
    leader_frames: int
    trailer_frames: int
    code: str | None
    parity: str | None
    format: str
    dialect: str | None
    language: str | None
    loader: str
    check_status: CheckStatus
    load_ranges: tuple[LoadRange, ...]
    entry_address: int | None
    lettering: str | None
    findings: tuple[Finding, ...]
    identified: tuple[Identified, ...]
    content_sha256: str
    lines: int
    data: Span
    decoder_release: str
    title: str
    received: datetime
    verification: Verification
    processor: Guess | None = None
    parts: tuple[PartSummary, ...] = ()
    blocks: tuple[LoadedBlock, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    readings: tuple[ReadingRecord, ...] = ()
    tapes: tuple[TapeLink, ...] = ()
    versions: tuple[VersionLink, ...] = ()
    fixity_checked: datetime | None = None
    fixity_failure: FixityFailure | None = None

    @property
    def may_hold_code(self) -> bool:
        """Whether it loads memory, or holds frames of which nobody knows where they are loaded."""
        if self.language == "basic":
            return self.processor is not None
        return bool(self.load_ranges) or any(part.format in BARE for part in self.parts)

    @property
    def writing(self) -> Writing:
        """How the people of its machine wrote the addresses that it loads."""
        return writing_of(self.format, self.processor.processor if self.processor else None)

    @property
    def length_mm(self) -> float:
        """The length of the tape, leader and trailer included."""
        return round(self.bytes * FRAME_PITCH_MM, 2)

    @property
    def accession(self) -> str | None:
        """The accession number of the first tape that carries the image, if any."""
        return self.tapes[0].accession_number if self.tapes else None


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of an upload.

    `held` says that this very image was here before; `duplicate_of` names an image that is the
    same or has the same content; `notes` are plain warnings about the file.
    """

    image: ImageRecord
    held: bool
    duplicate_of: str | None
    kin: tuple[KinRecord, ...]
    reading_id: int
    tape: str | None
    notes: tuple[str, ...] = ()


def common_language(a: ImageRecord, b: ImageRecord) -> str | None:
    """The language that two images are both in, None where it is not one."""
    return a.language if a.language == b.language else None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two images side by side: `b` against `a`, as `kinship` says it of `b`.

    `rows` index `left` and `right`, the lines of the two that were compared; an added line is
    in that of `b` only. `left_out` says which lines were not compared, where there are any.
    """

    a: ImageRecord
    b: ImageRecord
    kinship: KinRecord
    left: tuple[Line, ...]
    right: tuple[Line, ...]
    rows: tuple[Row, ...]
    left_out: str = ""

    @property
    def language(self) -> str | None:
        """The language that both are in, if it is one."""
        return common_language(self.a, self.b)


@dataclass(frozen=True, slots=True)
class Download:
    """An image to punch, under the name that its file should have.

    Whether everybody may have it, `is_public` says.
    """

    file_name: str
    frames: bytes
    sha256: str
    verified: bool
    is_public: bool = False
