"""Search by example: some lines, some bytes, or a whole image; what holds this?"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Final

from pydantic import StringConstraints
from sqlalchemy import select
from sqlmodel import col

from server.catalog import byte_pattern, byte_search, kinship
from server.catalog.byte_pattern import Base, BytePattern
from server.catalog.byte_values import BytePage, ByteQuery, Where
from server.catalog.errors import Invalid
from server.catalog.held import known, titles
from server.catalog.inputs import Input
from server.catalog.records import KinRecord
from server.catalog.uploads import Examined, Upload, examine
from server.catalog.work import Work
from server.store.images import ImageRow
from server.store.search import fold, is_scanned, newest
from server.store.texts import LISTINGS
from server.tape.fingerprints import fingerprints
from server.tape.language import line_number
from server.tape.listing import Line, Listing
from server.tape.normal_form import form_of

LINES: Final = 12
"""Of an example's lines, the longest are looked for, so many."""

HELD_BY: Final = 20
"""Listings that are told."""

LARGEST: Final = 1_000_000
"""Bytes of an image that may be an example: eight rolls of 1,000 feet."""

TRIED: Final = 60
"""The newest listings that hold one line of the example are compared with all its lines."""


class Example(Input):
    """Some lines of a listing as they are remembered, or bytes as a search for them takes them."""

    text: Annotated[str, StringConstraints(max_length=100_000, strip_whitespace=False)] = ""
    bytes: Annotated[str, StringConstraints(max_length=4000)] = ""
    base: Base = Base.AUTO


@dataclass(frozen=True, slots=True)
class Holder:
    """A listing that holds lines of an example: how many of `of`, and the first of its own."""

    sha256: str
    title: str
    accession: str | None
    lines: int
    of: int
    line: int


@dataclass(frozen=True, slots=True)
class Answer:
    """What holds an example, or is like it.

    `held` is the image itself where the very same is held; `holders` hold its lines, `frames`
    and `memory` its bytes; `kin` resemble it as a whole, the nearest first.
    """

    held: str | None = None
    holders: tuple[Holder, ...] = ()
    frames: BytePage = field(default_factory=lambda: BytePage((), 0, None))
    memory: BytePage = field(default_factory=lambda: BytePage((), 0, None))
    kin: tuple[KinRecord, ...] = ()

    @property
    def found(self) -> bool:
        """Whether there is anything."""
        parts = (self.holders, self.frames.hits, self.memory.hits, self.kin)
        return self.held is not None or any(parts)


def of_example(work: Work, example: Example) -> Answer:
    """What holds the lines or the bytes.

    Raises:
        Invalid: neither is given, or the bytes cannot be read.
    """
    if example.bytes.strip():
        return _of_bytes(work, byte_pattern.read(example.bytes, example.base))
    lines = [line for line in example.text.splitlines() if line.strip()]
    if not lines:
        raise Invalid(
            "There is no example.",
            where="text",
            mend="Paste some lines or bytes, or choose an image.",
            fields={"text": "paste some lines or bytes, or choose an image"},
        )
    holders = _holders(work, lines)
    held = {each.sha256 for each in holders}
    kin = (each for each in _kin_of_lines(work, lines) if each.sha256 not in held)
    return Answer(holders=holders, kin=tuple(kin))


def of_image(work: Work, upload: Upload) -> Answer:
    """What is the image, holds it, is part of it or resembles it; nothing is kept of it.

    Raises:
        TooLarge, Invalid: as `accession.examine`.
    """
    examined = examine(upload, LARGEST)
    sha256 = examined.decoded.image.sha256
    image_id = work.session.scalar(select(col(ImageRow.id)).where(col(ImageRow.sha256) == sha256))
    found = kinship.find(work, examined.form, examined.fingerprints, besides=image_id)
    frames = _of_frames(work, examined)
    return Answer(
        held=None if image_id is None else sha256, kin=kinship.told(work, found), frames=frames
    )


def _of_frames(work: Work, examined: Examined) -> BytePage:
    """What holds the frames of a piece of tape; a longer one is known by its kin instead."""
    data = examined.decoded.image.frames[slice(*examined.decoded.decoding.data)]
    if not data or len(data) > byte_pattern.LONGEST:
        return BytePage((), 0, None)
    return byte_search.search(work, byte_pattern.of_bytes(data), ByteQuery(where=Where.FRAMES))


def _of_bytes(work: Work, pattern: BytePattern) -> Answer:
    frames, memory = (byte_search.search(work, pattern, ByteQuery(where=where)) for where in Where)
    return Answer(frames=frames, memory=memory)


def _holders(work: Work, lines: Sequence[str]) -> tuple[Holder, ...]:
    """Listings that hold the most of the lines, with their own numbers or without."""
    wanted = sorted({_bare(line) for line in lines}, key=len, reverse=True)[:LINES]
    wanted = [line for line in wanted if line and not is_scanned(line)]
    if not wanted:
        return ()
    likely = newest(work.session, LISTINGS, wanted, TRIED)
    for line in wanted if len(likely) < TRIED else ():
        likely += newest(work.session, LISTINGS, [line], TRIED)
    return tuple(_ranked(work, dict.fromkeys(likely), wanted))[:HELD_BY]


def _bare(line: str) -> str:
    """A line without its number, folded: a copy may be numbered otherwise."""
    folded = fold(line).strip()
    number = line_number(line)
    if number is None:
        return folded
    return folded.removeprefix(str(number)).strip() or folded


def _ranked(work: Work, image_ids: Iterable[int], wanted: Sequence[str]) -> Iterable[Holder]:
    ids = list(image_ids)
    rows = work.session.execute(
        select(col(ImageRow.id), col(ImageRow.sha256), LISTINGS.body)
        .join(LISTINGS.entity, LISTINGS.key == col(ImageRow.id))
        .where(col(ImageRow.id).in_(ids))
    )
    names = titles(work, ids) if ids else {}
    holders = []
    for image_id, sha256, body in rows:
        held = [line for line in wanted if line in body]
        first = min((body.find(line) for line in held), default=0)
        title, accession, _ = names[known(image_id)]
        line = body.count("\n", 0, first) + 1
        holder = Holder(sha256, title, accession, len(held), len(wanted), line)
        holders.append((-len(held), -known(image_id), holder))
    return (holder for lines, _, holder in sorted(holders, key=lambda each: each[:2]) if lines)


def _kin_of_lines(work: Work, lines: Sequence[str]) -> tuple[KinRecord, ...]:
    """What resembles the lines as a whole, where they are long enough to tell."""
    listing = Listing(tuple(Line(line, 0, 0, line_number(line)) for line in lines))
    language = "basic" if all(line.key is not None for line in listing.lines) else None
    form = form_of("text", language, listing, "\n".join(lines).encode(), {})
    return kinship.told(work, kinship.find(work, form, fingerprints(form)))
