"""What a decoding says, as named fields: the one shape that the API and the command line give.

`facts_of` makes it of a fresh decoding, `ImageFacts.model_validate` of a record that the archive
holds; both pass through the same model, so that the two doors never differ.
"""

import hashlib
from collections.abc import Iterable

from pydantic import AliasChoices, BaseModel, ConfigDict, Field, field_validator

from server.tape.codes.base import Parity
from server.tape.cpu.notation import Notation
from server.tape.estimate import length_mm
from server.tape.findings import CheckStatus, Severity
from server.tape.formats.base import Loader
from server.tape.identify import Decoded
from server.tape.image import Orientation
from server.tape.parts import PartKind
from server.tape.program_view import MachineCode, guess_of


class Fields(BaseModel):
    """Fields read from a value's attributes, and no other."""

    model_config = ConfigDict(from_attributes=True, frozen=True, extra="forbid")


class LoadRangeFacts(Fields):
    """Addresses that the tape loads."""

    start: int = Field(description="First address of the range.")
    end: int = Field(description="Last address of the range; it is loaded too.")


class FindingFacts(Fields):
    """Something noticed in the image, and where it lies on the tape."""

    kind: str = Field(description="Kind of finding, such as `parity-error`.")
    severity: Severity = Field(description="How much it matters.")
    frame: int = Field(description="First frame it concerns; the first of the image is 0.")
    frames: int = Field(description="How many frames it concerns.")
    position_mm: float = Field(
        description="Distance of the first frame from the start of the image, in millimetres."
    )
    message: str = Field(description="What was noticed.")
    advice: str = Field(description="What to do about it at the reader.")
    position_inches: float = Field(description="The same distance in inches.")


class IdentifiedFacts(Fields):
    """A format that the image was tried as."""

    format: str = Field(description="Name of the format.")
    confidence: float = Field(description="How sure the format is, from 0 to 1.")
    reason: str = Field(description="What speaks for it or against it.")
    orientation: Orientation = Field(description="The way the tape had to be turned for it.")
    levels: int = Field(description="Code holes across the tape, as it was tried.")


class ProcessorFacts(Fields):
    """The processor whose code the tape loads, as far as the code itself tells."""

    name: str = Field(
        validation_alias=AliasChoices("name", "processor"), description="Name of the processor."
    )
    likelihood: float = Field(description="How likely it is that one's code, from 0 to 1.")
    reason: str = Field(description="What speaks for it.")


class PartFacts(Fields):
    """A run of frames that serves one purpose."""

    kind: PartKind = Field(description="What the part is for.")
    frame: int = Field(description="First frame of the part; the first of the image is 0.")
    frames: int = Field(description="How many frames it takes.")
    format: str | None = Field(description="Record format of a program or first stage, or null.")
    text: str | None = Field(description="What lettering says, or null.")


class BlockFacts(Fields):
    """Addresses that one block, or a run of records, loads."""

    start: int = Field(description="First address.")
    end: int = Field(description="Last address, included.")
    frame: int = Field(description="First frame of the block; the first of the image is 0.")
    frames: int = Field(description="How many frames it takes.")
    sound: bool = Field(description="Whether its own check passes.")


class Fact(Fields):
    """A name and a value."""

    name: str = Field(description="What it is.")
    value: str = Field(description="What the tape says of it.")


class ImageFacts(Fields):
    """What the bytes of an image say. All frame numbers are those of the image as it was read."""

    sha256: str = Field(description="Name of the image: SHA-256 of its frames, in hexadecimal.")
    bytes: int = Field(description="Number of frames, one byte each.")
    levels: int = Field(description="Code holes across the tape: 5 to 8.")
    orientation: Orientation = Field(description="How the tape lay in the reader.")
    leader_frames: int = Field(description="Frames punched before the content.")
    trailer_frames: int = Field(description="Frames punched after the content.")
    code: str | None = Field(description="Character code, or null where none is used.")
    parity: Parity | None = Field(description="Rule of the parity channel, chosen by evidence.")
    format: str = Field(description="Record format; `unrecognised` where none fits.")
    dialect: str | None = Field(description="Variant of the format, or null.")
    check_status: CheckStatus = Field(description="What the tape's own checks say.")
    load_ranges: list[LoadRangeFacts] = Field(
        description="Addresses that the tape loads; start and end are both included."
    )
    entry_address: int | None = Field(description="Where the program starts, if the tape says.")
    lettering: str | None = Field(description="Letters punched as holes in the leader.")
    findings: list[FindingFacts] = Field(description="Everything noticed, in order of frames.")
    identified: list[IdentifiedFacts] = Field(
        description="Every format tried, the chosen one first, each by its best try."
    )
    language: str | None = Field(description="Programming language, or null.")
    loader_requirement: Loader = Field(
        validation_alias=AliasChoices("loader_requirement", "loader"),
        description="What must be in the machine before this tape can be read.",
    )
    length_mm: float = Field(description="Length at a pitch of 2.54 mm a frame, in millimetres.")
    content_sha256: str = Field(
        description="SHA-256 of the content alone: the same for tapes that differ only in"
        " leader, parity, fill or orientation."
    )
    processor: ProcessorFacts | None = Field(
        description="The processor whose code the tape loads, or null where none is likely."
    )
    parts: list[PartFacts] = Field(
        description="The parts of the tape, in the order in which they were punched."
    )
    blocks: list[BlockFacts] = Field(
        description="Which block loads which addresses, in the order of the tape."
    )
    facts: list[Fact] = Field(description="What only a tape of this format has to say.")

    @field_validator("facts", mode="before")
    @classmethod
    def _named(cls, pairs: Iterable[tuple[str, str]]) -> list[dict[str, str]]:
        return [{"name": name, "value": value} for name, value in pairs]


class CodeLineFacts(Fields):
    """One statement of the code that a tape loads."""

    number: int = Field(description="Place among the statements, counted from 1.")
    text: str = Field(description="Address, cells, label and statement as they are listed.")
    frame: int = Field(description="First frame that loads it; the first of the image is 0.")
    frames: int = Field(description="How many frames load it; 0 where that is not known.")
    address: int = Field(description="Address of its first cell.")
    size: int = Field(description="How many cells it takes.")
    cells: str = Field(description="What the cells hold, in the notation asked for.")
    kind: str = Field(description="`code`, `text` or `data`.")
    label: str | None = Field(description="Name of the address where others refer to it, or null.")
    statement: str = Field(description="The instruction, text or data alone.")
    target: int | None = Field(description="The address it goes to, if the tape loads it.")
    referred_from: list[int] = Field(description="Addresses of instructions that name this one.")


class CodeFacts(Fields):
    """The code that a tape loads, read for one processor."""

    processor: str | None = Field(description="The processor, or null: then all is data.")
    notation: Notation = Field(description="How addresses and cells are written.")
    assumed_address: int | None = Field(
        description="Where a program is shown whose tape does not say where it is loaded, or null."
    )
    lines: list[CodeLineFacts] = Field(description="The statements, in order of address.")


def code_facts(code: MachineCode) -> CodeFacts:
    """The code with all of its statements."""
    return CodeFacts(
        processor=code.processor,
        notation=code.notation,
        assumed_address=code.assumed_address,
        lines=code_lines(code),
    )


def code_lines(code: MachineCode) -> list[CodeLineFacts]:
    """The statements of `code`, one after the other."""
    references, targets = code.disassembly.references, code.targets
    return [
        CodeLineFacts(
            number=number,
            text=line.text,
            frame=row.frame,
            frames=row.frames,
            address=row.statement.address,
            size=row.statement.size,
            cells=row.cells,
            kind=row.statement.kind,
            label=row.statement.label,
            statement=row.statement.text,
            target=targets.get(row.statement.address),
            referred_from=list(references.get(row.statement.address, ())),
        )
        for number, (row, line) in enumerate(zip(code.rows, code.listing, strict=True), 1)
    ]


def facts_of(decoded: Decoded) -> ImageFacts:
    """The facts of a fresh decoding."""
    image, decoding = decoded.image, decoded.decoding
    return ImageFacts.model_validate(
        {
            "sha256": image.sha256,
            "bytes": len(image),
            "levels": image.levels,
            "orientation": decoded.orientation,
            "leader_frames": decoded.leader_frames,
            "trailer_frames": decoded.trailer_frames,
            "code": decoding.code,
            "parity": decoding.parity,
            "format": decoding.format,
            "dialect": decoding.dialect,
            "check_status": decoding.check_status,
            "load_ranges": decoding.load_ranges,
            "entry_address": decoding.entry_address,
            "lettering": decoded.lettering,
            "findings": decoding.findings,
            "identified": decoded.identified,
            "language": decoding.language,
            "loader_requirement": decoding.loader,
            "length_mm": length_mm(len(image)),
            "content_sha256": hashlib.sha256(decoding.content).hexdigest(),
            "processor": guess_of(decoded),
            "parts": [part.summary for part in decoded.parts],
            "blocks": decoding.blocks,
            "facts": decoding.facts,
        }
    )
