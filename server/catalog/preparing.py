"""Tapes prepared for the punch from images that are held: previews, and reels as files."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from server.catalog import downloads, images
from server.catalog.downloads import SUFFIX
from server.catalog.errors import Invalid, NotFound
from server.catalog.preparation_words import (
    PreparationInput,
    as_words,
    invalid,
    of_input,
    of_words,
)
from server.catalog.records import Download, ImageRecord
from server.catalog.work import Work
from server.tape.anatomy import BOOTSTRAP
from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotPrepare
from server.tape.formats import FORMATS, Formats
from server.tape.identify import decode
from server.tape.preparing import (
    Preparation,
    Prepared,
    dialects_of,
    legible,
    targets_of,
)
from server.tape.preparing import prepare as prepare_tape

__all__ = [
    "Choices",
    "PreparationInput",
    "as_words",
    "choices",
    "invalid",
    "of_input",
    "of_words",
    "prepare",
    "preview",
    "reel",
    "usual",
]

LARGEST: Final = 1_200_000
"""Frames of an image: ten of the longest rolls. No tape is so long, and a page must not be slow."""

LONGEST_TITLE: Final = 48
"""Characters of a title that are lettered unasked: some two feet of tape."""


def preview(work: Work, sha256: str, how: Preparation, formats: Formats = FORMATS) -> Prepared:
    """What would be punched of an image: to be looked at, before anybody vouches for it.

    Raises:
        NotFound: the image is not held.
        FixityFailed: the held frames are not those of its name.
        Invalid: it cannot be prepared in that way; says why, and where on the tape.
    """
    return _prepared(work, images.get(work, sha256), how, formats)


def _prepared(work: Work, record: ImageRecord, how: Preparation, formats: Formats) -> Prepared:
    if record.bytes > LARGEST:
        raise Invalid(
            f"The image has {record.bytes:,} frames, more than ten of the longest rolls.",
            where=record.sha256,
            mend=f"Prepare an image of at most {LARGEST:,} frames, or cut the file beforehand.",
        )
    decoded = decode(images.own_frames(work, record.sha256), record.levels, formats)
    try:
        return prepare_tape(decoded, how, formats)
    except CannotPrepare as refused:
        raise invalid(refused) from None


def prepare(
    work: Work,
    sha256: str,
    how: Preparation,
    *,
    acknowledged: bool = False,
    formats: Formats = FORMATS,
) -> Prepared:
    """What is to be punched of an image; one that nothing vouches for must be `acknowledged`.

    Raises:
        NotFound: the image is not held.
        FixityFailed: the held frames are not those of its name.
        NotVerified: nothing vouches for it, and that was not acknowledged.
        Invalid: it cannot be prepared in that way; says why, and where on the tape.
    """
    record = images.get(work, sha256)
    downloads.require_vouched(record, acknowledged=acknowledged)
    return _prepared(work, record, how, formats)


def reel(
    work: Work,
    sha256: str,
    how: Preparation,
    number: int,
    *,
    acknowledged: bool = False,
    formats: Formats = FORMATS,
) -> Download:
    """The frames of one reel as a file. That they were given out is logged, to whom is not.

    Raises:
        NotFound: the image is not held, or there is no such reel.
        FixityFailed: the held frames are not those of its name.
        NotVerified: nothing vouches for it, and that was not acknowledged.
        Invalid: it cannot be prepared in that way; says why, and where on the tape.
    """
    record = images.get(work, sha256)
    downloads.require_vouched(record, acknowledged=acknowledged)
    prepared = _prepared(work, record, how, formats)
    if not 1 <= number <= len(prepared.reels):
        raise NotFound(
            f"There is no reel {number}; the program takes {len(prepared.reels)}.",
            where=f"reel {number}",
            mend=f"Ask for a reel from 1 to {len(prepared.reels)}.",
        )
    wanted = prepared.reels[number - 1]
    facts = {
        "verification": record.verification.word,
        "bytes": len(wanted.frames),
        "prepared": as_words(how),
        "reel": number,
    }
    work.afterwards.append(lambda later: downloads.log(later, record, facts))
    return Download(
        file_name=file_name_of(record, wanted.number, len(prepared.reels)),
        frames=wanted.frames,
        sha256=wanted.image.sha256,
        verified=record.verification.verified,
    )


def file_name_of(record: ImageRecord, number: int, reels: int) -> str:
    """A plain file name: that of the image, and which reel of how many."""
    stem = downloads.file_name_of(record).removesuffix(SUFFIX)
    part = f"-{number}-of-{reels}" if reels > 1 else ""
    return f"{stem}-prepared{part}{SUFFIX}"


def usual(record: ImageRecord, today: date) -> Preparation:
    """What is offered first: all as it is held, the leader lettered with title, number and date."""
    title = legible(record.title, record.levels)
    if len(title) > LONGEST_TITLE:
        title = title[: LONGEST_TITLE + 1].rpartition(" ")[0] or title[:LONGEST_TITLE]
    parts = (title, legible(record.accession or "", record.levels), today.isoformat())
    return Preparation(lettering=" ".join(filter(None, parts)))


@dataclass(frozen=True, slots=True)
class Choices:
    """What there is to choose for one image, each by its name and what it is called."""

    formats: tuple[tuple[str, str], ...]
    codes: tuple[tuple[str, str], ...]
    parities: tuple[str, ...]
    patterns: tuple[str, ...]
    dialects: tuple[str, ...]


def choices(record: ImageRecord, formats: Formats = FORMATS) -> Choices:
    """What the image can be prepared as, judged by its format alone."""
    held = formats[record.format.removeprefix(BOOTSTRAP)]
    names = [name for name in targets_of(held, formats) if name != held.name]
    within = [held, *(formats[name] for name in names)]
    codes = dict.fromkeys(code for each in within for code in each.codes)
    parities = dict.fromkeys(parity for code in codes for parity in CODES[code].parities)
    patterns = dict.fromkeys(pattern for each in within for pattern in each.idle)
    return Choices(
        formats=tuple((name, formats[name].title) for name in names),
        codes=tuple((code, CODES[code].title) for code in codes),
        parities=tuple(each for each in parities if each is not Parity.NONE),
        patterns=tuple(patterns),
        dialects=tuple(name for each in within for name in dialects_of(each)),
    )
