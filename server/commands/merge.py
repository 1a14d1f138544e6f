"""`merge`: what several readings of one tape come to; needs the tape core only, no database."""

import sys
from argparse import Namespace
from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path
from typing import IO, Final

from pydantic import Field

from server.catalog.dialects import formats_of
from server.catalog.errors import Invalid
from server.commands.console import DONE, REFUSED, UNUSABLE, complain, give, labelled, say, table
from server.commands.files import STANDARD_OUTPUT, read
from server.decoding_settings import DecodingSettings
from server.delivery.merge_facts import SourceFacts, source_facts
from server.inspection import Fields
from server.tape.errors import TapeError
from server.tape.estimate import length_mm
from server.tape.findings import CheckStatus
from server.tape.formats import Formats
from server.tape.holes import holes
from server.tape.identify import Decoded, decode
from server.tape.image import Image
from server.tape.merging import (
    MERGER_RELEASE,
    AgreementKind,
    Dispute,
    Merged,
    SettledBy,
    Vote,
    merge,
)

_MOST_DISPUTES: Final = 40
"""Settled disputes that are named one by one; JSON has them all, and open ones always are."""


class FileFacts(SourceFacts):
    """A file as it lies on the merged image; counts are of frames, against that image."""

    file: str = Field(description="The file.")


class DisputeFacts(Fields):
    """A place where the files differ; votes and sources are in the order of the files."""

    column: int = Field(description="Names the place.")
    frame: int | None = Field(description="Frame of the merged image, or null.")
    votes: tuple[Vote, ...] = Field(description="What each file has there; null for no frame.")
    sources: tuple[int | None, ...] = Field(
        description="Frame of each file, as read; null where it does not reach so far."
    )
    chosen: Vote = Field(description="The frame that stands there; null where none does.")
    settled_by: SettledBy = Field(description="What settled it.")
    confidence: float = Field(description="How sure that is, from 0 to 1.")


class MergeFacts(Fields):
    """What the files come to."""

    sha256: str = Field(description="SHA-256 of the merged image.")
    frames: int = Field(description="How many frames it has.")
    levels: int = Field(description="Code holes across.")
    format: str = Field(description="Record format of the merged image.")
    check_status: CheckStatus = Field(description="What its own checks say.")
    release: str = Field(description="Release of the merger.")
    agreement: AgreementKind = Field(description="Whether the files agree, and by which rule.")
    sentence: str = Field(description="The same in a sentence.")
    sources: list[FileFacts] = Field(description="How each file lies on the image.")
    disputes: list[DisputeFacts] = Field(description="Where they differ.")


def run(args: Namespace) -> int:
    """Merge `args.files`; 0 if they agree, 1 if they come to an image but do not agree."""
    try:
        formats = formats_of(DecodingSettings().dialects)
    except Invalid as refusal:
        complain(refusal.what, refusal.mend)
        return UNUSABLE
    images = _images(args)
    if images is None or not _are_passes(args.files, images):
        return UNUSABLE
    try:
        merged = merge(images, {}, formats)
    except TapeError as error:
        complain(f"They cannot be merged: {error.what}.", f"To mend it: {error.mend}.")
        return UNUSABLE
    return _tell(args, merged, formats)


def _images(args: Namespace) -> list[Image] | None:
    """The image in each file; None where one has none, once that is said."""
    images = []
    for name in args.files:
        try:
            images.append(Image.of(read(name), args.levels))
        except OSError as error:
            complain(f"{name}: {error.strerror or error}", "Give files that can be read.")
            return None
        except TapeError as error:
            complain(f"{name}: {error.what}", f"To mend it: {error.mend}.")
            return None
    return images


def _are_passes(names: Sequence[str], images: Sequence[Image]) -> bool:
    """Whether no two files are alike in every frame; if not, it is said."""
    for (one, a), (other, b) in combinations(zip(names, images, strict=True), 2):
        if a.frames == b.frames:
            complain(
                f"{one} and {other} are alike in every frame, and so count as one pass.",
                "Give each pass of the tape once.",
            )
            return False
    return True


def _tell(args: Namespace, merged: Merged, formats: Formats) -> int:
    if args.output is not None and not _written(args.output, merged.image.frames):
        return UNUSABLE
    decoded = decode(merged.image.frames, merged.image.levels, formats)
    to = sys.stderr if args.output == STANDARD_OUTPUT else sys.stdout
    if args.json and to is sys.stdout:
        give(_facts(args.files, merged, decoded))
    else:
        _say_all(args.files, merged, decoded, to)
    return DONE if merged.agreement.agrees else REFUSED


def _written(output: str, frames: bytes) -> bool:
    """Write the merged image to a file that is not there yet, or to standard output."""
    if output == STANDARD_OUTPUT:
        sys.stdout.buffer.write(frames)
        return True
    try:
        with Path(output).open("xb") as file:
            file.write(frames)
    except OSError as error:
        complain(f"{output}: {error.strerror or error}", "Name a file that is not there yet.")
        return False
    return True


def _facts(names: Sequence[str], merged: Merged, decoded: Decoded) -> MergeFacts:
    pairs = zip(names, merged.sources, strict=True)
    return MergeFacts(
        sha256=merged.image.sha256,
        frames=len(merged.image),
        levels=merged.image.levels,
        format=decoded.decoding.format,
        check_status=decoded.decoding.check_status,
        release=MERGER_RELEASE,
        agreement=merged.agreement.kind,
        sentence=merged.agreement.sentence,
        sources=[FileFacts(file=name, **source_facts(source)) for name, source in pairs],
        disputes=[DisputeFacts.model_validate(each) for each in merged.disputes],
    )


def _say_all(names: Sequence[str], merged: Merged, decoded: Decoded, to: IO[str]) -> None:
    image, decoding = merged.image, decoded.decoding
    say(
        f"{len(names)} readings merged",
        *labelled(
            (
                ("SHA-256", image.sha256),
                ("frames", f"{len(image):,} of {image.levels} levels"),
                ("format", decoding.format),
                ("check status", decoding.check_status),
                ("agreement", "readings agree" if merged.agreement.agrees else "not by the rule"),
                ("because", merged.agreement.sentence),
            )
        ),
        "",
        *table(_HEAD, _rows(names, merged)),
        "",
        *_dispute_lines(merged),
        to=to,
    )


_HEAD: Final = (
    "", "reading", "turned", "frames", "changed", "dropped", "doubled", "added", "right",
)  # fmt: skip


def _rows(names: Sequence[str], merged: Merged) -> Iterator[tuple[str, ...]]:
    for number, (name, source) in enumerate(zip(names, merged.sources, strict=True), 1):
        counts = (source.flipped, source.dropped, source.doubled, source.added)
        yield (
            str(number),
            name,
            source.orientation,
            f"{source.span.start:,} to {source.span.stop - 1:,}",
            *(f"{count:,}" for count in counts),
            f"{source.score:.2%}",
        )


def _dispute_lines(merged: Merged) -> Iterator[str]:
    disputes = merged.disputes
    yield f"disputed frames: {len(disputes):,}" if disputes else "disputed frames: none"
    settled = [each for each in disputes if each.settled_by is not SettledBy.OPEN]
    left_out = len(settled) - _MOST_DISPUTES
    named = {each.column for each in (*settled[:_MOST_DISPUTES], *merged.open_disputes)}
    for each in disputes:
        if each.column in named:
            yield f"  {_place(each)}: {_settled(each, merged.image.levels)}"
            yield f"    {_votes(each, merged.image.levels)}"
    if left_out > 0:
        yield f"  and {left_out:,} more that are settled; --json names them all"


def _place(dispute: Dispute) -> str:
    if dispute.frame is None:
        return "left out"
    return f"frame {dispute.frame:,}, {length_mm(dispute.frame):,.2f} mm"


def _settled(dispute: Dispute, levels: int) -> str:
    stands = _drawn(dispute.chosen, levels)
    if dispute.settled_by is SettledBy.OPEN:
        return f"{stands} is likeliest, open"
    return f"{stands}, by {dispute.settled_by}"


def _votes(dispute: Dispute, levels: int) -> str:
    votes = (
        f"{number}: {_drawn(value, levels)} at {source:,}"
        for number, (value, source) in enumerate(
            zip(dispute.votes, dispute.sources, strict=True), 1
        )
        if source is not None
    )
    return "   ".join(votes)


def _drawn(value: Vote, levels: int) -> str:
    return "no frame" if value is None else f"{holes(value, levels)} {value:02X}"
