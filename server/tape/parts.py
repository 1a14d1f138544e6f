"""The parts of a tape, in the order in which they were punched."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from server.tape.findings import CheckStatus, Finding, place
from server.tape.formats.base import Decoding
from server.tape.image import Image, Orientation, Span
from server.tape.listing import Line, Listing
from server.tape.loading import LoadedBlock


class PartKind(StrEnum):
    """What a part of a tape is for."""

    LEADER = "leader"
    LETTERING = "lettering"
    FIRST_STAGE = "first-stage"
    PROGRAM = "program"
    TRAILER = "trailer"


class PartSummary(NamedTuple):
    """A part in few words: its place, the format of a program, the text of lettering."""

    kind: PartKind
    frame: int
    frames: int
    format: str | None
    text: str | None


@dataclass(frozen=True, slots=True)
class Part:
    """A run of frames that serves one purpose.

    `text` is what lettering says; `decoding` what a program or a first stage holds.
    """

    kind: PartKind
    span: Span
    decoding: Decoding | None = None
    text: str | None = None

    @property
    def summary(self) -> PartSummary:
        """The part in few words."""
        format_name = self.decoding.format if self.decoding else None
        return PartSummary(self.kind, self.span.start, self.span.frames, format_name, self.text)

    def as_read(self, image: Image, orientation: Orientation) -> "Part":
        """The same part, placed in `image` when it was found in the turned image."""
        decoding = self.decoding and decoding_as_read(self.decoding, image, orientation)
        span = image.span_as_read(self.span, orientation)
        return replace(self, span=span, decoding=decoding)


def decoding_as_read(decoding: Decoding, image: Image, orientation: Orientation) -> Decoding:
    """The same decoding, placed in `image` when it was made of the turned image."""
    findings = (finding.as_read(image, orientation) for finding in decoding.findings)
    return replace(
        decoding,
        data=image.span_as_read(decoding.data, orientation),
        listing=decoding.listing.as_read(image, orientation),
        findings=tuple(sorted(findings, key=_frame)),
        blocks=tuple(_block_as_read(block, image, orientation) for block in decoding.blocks),
    )


def _block_as_read(block: LoadedBlock, image: Image, orientation: Orientation) -> LoadedBlock:
    span = image.span_as_read(Span(block.frame, block.frame + block.frames), orientation)
    return block._replace(frame=span.start)


def shifted(decoding: Decoding, frames: int) -> Decoding:
    """The same decoding, `frames` frames further along the tape."""
    return replace(
        decoding,
        data=Span(decoding.data.start + frames, decoding.data.stop + frames),
        listing=Listing(
            tuple(line._replace(frame=line.frame + frames) for line in decoding.listing)
        ),
        findings=tuple(_moved(finding, frames) for finding in decoding.findings),
        blocks=tuple(block._replace(frame=block.frame + frames) for block in decoding.blocks),
    )


def _moved(finding: Finding, frames: int) -> Finding:
    to = finding.frame + frames
    return replace(
        finding, frame=to, message=finding.message.replace(place(finding.frame), place(to))
    )


def merged(decodings: Sequence[Decoding], main: int = 0) -> Decoding:
    """One decoding of a tape that carries several: the facts of `main`, all ones' contents.

    Memory is what those with cells as large as its own load.
    """
    chief = decodings[main]
    if len(decodings) == 1:
        return chief
    alike = [each for each in decodings if each.cell_bytes == chief.cell_bytes]
    return replace(
        chief,
        data=Span(decodings[0].data.start, decodings[-1].data.stop),
        listing=_joined(decodings),
        check_status=worst([each.check_status for each in decodings]),
        content=b"\0".join(each.content for each in decodings),
        findings=tuple(sorted((f for each in decodings for f in each.findings), key=_frame)),
        load_ranges=tuple(found for each in alike for found in each.load_ranges),
        memory={start: run for each in reversed(alike) for start, run in each.memory.items()},
        blocks=tuple(block for each in alike for block in each.blocks),
    )


def _joined(decodings: Sequence[Decoding]) -> Listing:
    """All listings, each but the first under a line that says what begins there."""
    lines = list(decodings[0].listing)
    for number, decoding in enumerate(decodings[1:], 2):
        heading = f"-- part {number}: {decoding.format}, from frame {decoding.data.start} --"
        lines += [Line(heading, decoding.data.start, 0), *decoding.listing]
    return Listing(tuple(lines))


def worst(statuses: Sequence[CheckStatus]) -> CheckStatus:
    """The status of a tape whose parts have `statuses`: damage first, then what has no check."""
    for status in (CheckStatus.DAMAGED, CheckStatus.NO_CHECK):
        if status in statuses:
            return status
    return CheckStatus.SOUND


def _frame(finding: Finding) -> int:
    return finding.frame
